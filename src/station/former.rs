//! Values that were measured before the station was: taken from lists, and given to inspections.

use std::collections::BTreeMap;

use tapline_protocols::fact::Given;
use tapline_protocols::register::{FORMER, Former, FormerList, ListMap, read_former};
use tapline_protocols::{Fact, Fault};

use super::core::Core;
use super::event::Problem;
use super::import::{File, faulty};
use super::register::Register;
use crate::clock::Stamp;
use crate::past::earlier::AFTER_REPAIR;

/// Most values that a station keeps.
const VALUES_MAX: usize = 100_000;
/// Most values of an asset: fifty years of four measurements.
const OF_AN_ASSET_MAX: usize = 200;
/// Most values that are given to an inspection, the newest.
const GIVEN_MAX: usize = 64;
/// Values a line: each has a few hundred characters at most.
const A_LINE: usize = 16;

impl Register {
    /// Values of an asset from before, oldest first; also what counts no more.
    pub fn former_of(&self, asset: &str) -> impl Iterator<Item = &Former> {
        // No number of an asset has a blank in it, and the next character is `!`.
        let within = format!("{asset} ")..format!("{asset}!");
        self.former.range(within).map(|(_, (_, former))| former)
    }
}

impl Core {
    /// Values of a list as facts, and how many of its rows have none.
    pub(super) fn read_former(
        &self,
        at: Stamp,
        file: &File<'_>,
    ) -> Result<(Vec<Fact>, u64), Problem> {
        let map = file.map.map(|text| ListMap::read(text, &FORMER)).transpose();
        let map = map.map_err(|faults| {
            faulty(&faults).next("Correct the lines named of the map, then import again.")
        })?;
        let FormerList { values, without } =
            read_former(file.text, map.as_ref()).map_err(|faults| faulty(&faults))?;
        let today = self.settings.zone.date(at.wall_us);
        let mut faults: Vec<Fault> =
            values.iter().filter_map(|(line, one)| self.former_fault(*line, one, &today)).collect();
        faults.extend(self.too_many(&values));
        if !faults.is_empty() {
            return Err(faulty(&faults));
        }
        let fact = |(_, one): (u32, Former)| Fact::Former(Box::new(one));
        Ok((values.into_iter().map(fact).collect(), without))
    }

    fn former_fault(&self, line: u32, one: &Former, today: &str) -> Option<Fault> {
        let fault = |field: &str, text| Some(Fault { line, field: field.to_owned(), text });
        if self.register.asset(&one.asset).is_none() {
            let text = format!("the register has no `{}`: import it first", one.asset);
            return fault("asset", text);
        }
        let late = one.day.as_str() > today;
        late.then(|| fault("day", format!("{} is not yet: today is {today}", one.day))).flatten()
    }

    fn too_many(&self, values: &[(u32, Former)]) -> Option<Fault> {
        let register = &self.register;
        let new = values.iter().filter(|(_, one)| !register.former.contains_key(&one.id));
        let new: Vec<&(u32, Former)> = new.collect();
        let mut counts: BTreeMap<&str, usize> = BTreeMap::new();
        for (line, one) in &new {
            let count =
                counts.entry(&one.asset).or_insert_with(|| register.former_of(&one.asset).count());
            *count += 1;
            if *count > OF_AN_ASSET_MAX {
                let text = format!(
                    "`{}` would have more than {OF_AN_ASSET_MAX} values: leave the oldest out",
                    one.asset
                );
                return Some(Fault { line: *line, field: "asset".into(), text });
            }
        }
        let all = register.former.len() + new.len();
        (all > VALUES_MAX).then(|| Fault {
            line: 0,
            field: String::new(),
            text: format!(
                "there would be {all} values, at most {VALUES_MAX} are kept: leave the oldest out"
            ),
        })
    }

    /// What an inspection of the asset is given of them. A repair begins a new reference.
    pub(super) fn former_given(&self, asset: &str, reason: &str) -> Vec<Fact> {
        let counts = |one: &&Former| one.withdrawn.is_none() && reason != AFTER_REPAIR;
        let mut all: Vec<Former> = self.register.former_of(asset).filter(counts).cloned().collect();
        let newest = all.split_off(all.len().saturating_sub(GIVEN_MAX));
        let given = |list: &[Former]| Fact::Given(Given::Former { list: list.to_vec() });
        newest.chunks(A_LINE).map(given).collect()
    }
}

#[cfg(test)]
mod tests {
    use std::collections::BTreeSet;

    use super::*;

    fn former(asset: &str, day: &str, unit: &str) -> Former {
        let text = format!(
            "asset,day,measurand,value,unit,source\n{asset},{day},equipment_leakage,7,{unit},x\n"
        );
        read_former(&text, None).unwrap().values.remove(0).1
    }

    /// `P-1` is not the beginning of `P-10` and of `P-1!`; the newest line of a measurement holds.
    #[test]
    fn the_values_of_an_asset_are_its_own_and_the_newest_line_holds() {
        let mut register = Register::default();
        let list = [
            former("P-1", "2019-03-05", "uA"),
            former("P-10", "2019-03-05", "uA"),
            former("P-1!", "2018-03-05", "uA"),
            former("P-1", "2017-03-05", "uA"),
            former("P-1", "2019-03-05", "mA"),
        ];
        for (seq, one) in (1..).zip(list) {
            let at = Stamp { wall_us: 0, boot_us: 0 };
            register.apply(seq, at, &Fact::Former(Box::new(one)));
        }
        let told: BTreeSet<String> =
            register.former_of("P-1").map(|one| format!("{} {}", one.day, one.shown())).collect();
        assert_eq!(told, BTreeSet::from(["2017-03-05 7 uA".into(), "2019-03-05 7 mA".into()]));
    }
}
