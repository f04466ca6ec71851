//! Reading `tapline-instruments-1`.

use alloc::collections::BTreeMap;
use alloc::string::String;
use alloc::vec::Vec;

use tapline_drivers::{Function, Number, Quantity};

use super::instrument::{
    Accuracy, Gives, Instrument, Isolation, IsolationKind, Kind, Range, Setup,
};
use super::unique::{ENTRIES_MAX, entries};
use crate::certificate::{CalibrationPoint, Certificate, POINTS_MAX};
use crate::fault::Fault;
use crate::read::{self, Form, Value, is_decimal};

/// Reads instruments, and networks with their voltmeters.
///
/// # Errors
/// All faults at once, each with its line.
pub fn read_instruments(text: &str) -> Result<(Vec<Instrument>, Vec<Setup>), Vec<Fault>> {
    let build = |form: &mut Form<'_, '_>| {
        let instruments = entries(form, "instrument", instrument, |i| &i.id);
        Some((instruments, entries(form, "setup", setup, |s| &s.id)))
    };
    read::read(text, ("tapline-instruments-", 1), build).map(|(read, _)| read)
}

fn instrument(mut form: Form<'_, '_>) -> Option<Instrument> {
    let id = form.need("id").and_then(|v| v.name());
    let what = form.need("what").and_then(|v| v.text());
    let serial = form.need("serial").and_then(|v| v.text());
    let source_class = form.need("source_class").and_then(|v| v.word());
    let isolation = form.need("isolation").and_then(|v| isolation(&v));
    let calibration_due = form.need("calibration_due").and_then(|v| v.date());
    let certificate = form.need("certificate").and_then(|v| v.text());
    let ranges = form.need("range").map(|v| v.list(ENTRIES_MAX)).unwrap_or_default();
    let ranges = ranges.iter().filter_map(|v| range(v.form()?)).collect();
    form.finish();
    Some(Instrument {
        id: id?,
        what: what?,
        serial: serial?,
        source_class: source_class?,
        isolation: isolation?,
        calibration_due: calibration_due?,
        certificate: certificate?,
        ranges,
    })
}

fn isolation(value: &Value<'_, '_>) -> Option<Isolation> {
    let mut form = value.form()?;
    let kind = form.need("kind").and_then(|v| v.word());
    let optical = kind == Some(IsolationKind::Optical);
    let volts = if optical { form.need("volts") } else { form.may("volts") };
    let volts = volts.and_then(|v| match optical {
        true => v.count(1..=100_000),
        false => v.fault("is rated for optical isolation alone: leave it out".into()),
    });
    form.finish();
    Some(Isolation { kind: kind?, volts: volts.unwrap_or_default() })
}

fn range(mut form: Form<'_, '_>) -> Option<Range> {
    let function = form.need("function").and_then(|v| v.word());
    let to = form.need("to");
    let to = to.and_then(|v| match function.map(Function::quantity) {
        Some(Some(quantity)) => v.amount(quantity),
        Some(None) => v.fault("this function has no range".into()),
        None => None,
    });
    let response_ms = form.may("response_ms").and_then(|v| v.count(1..=60_000));
    let accuracy = form.may("accuracy").and_then(|v| accuracy(&v));
    let resolution = form.may("resolution");
    let resolution = resolution.and_then(|v| v.amount(function.and_then(Function::quantity)?));
    let gives = form.may("gives").and_then(|v| match function {
        Some(Function::VoltagePeak) => v.fault("a peak is read, not given: leave it out".into()),
        _ => gives(&v),
    });
    let over = form.may("over").and_then(|v| v.word()).unwrap_or_default();
    let true_rms = form.may("true_rms").and_then(|v| v.flag());
    let bandwidth = form.may("bandwidth").and_then(|v| v.amount(Quantity::Hertz));
    let calibration = form.may("calibration");
    let calibration =
        calibration.and_then(|v| calibration_of(&v, function.and_then(Function::quantity)?));
    form.finish();
    let (function, to) = (function?, to?);
    Some(Range {
        function,
        to,
        response_ms,
        accuracy,
        resolution,
        gives,
        over,
        true_rms,
        bandwidth,
        calibration: calibration.unwrap_or_default(),
    })
}

/// Points of the calibration certificate, rising.
fn calibration_of(value: &Value<'_, '_>, quantity: Quantity) -> Option<Vec<CalibrationPoint>> {
    let mut points = Vec::new();
    for point in value.list(POINTS_MAX) {
        let mut form = point.form()?;
        let at = form.need("at").and_then(|v| v.amount(quantity));
        let error = form.need("error").and_then(|v| v.amount(quantity));
        let expanded = form.need("expanded").and_then(|v| v.amount(quantity));
        form.finish();
        points.push(CalibrationPoint { at: at?, error: error?, expanded: expanded? });
    }
    match Certificate::new(&points) {
        Ok(_) => Some(points),
        Err(why) => value.fault(why),
    }
}

fn accuracy(value: &Value<'_, '_>) -> Option<Accuracy> {
    let mut form = value.form()?;
    let reading_percent = form.need("reading_percent").and_then(|v| v.decimal());
    let digits = form.need("digits").and_then(|v| v.count(0..=1_000_000));
    let coverage = form.need("coverage").and_then(|v| v.word());
    form.finish();
    let accuracy =
        Accuracy { reading_percent: reading_percent?, digits: digits?, coverage: coverage? };
    match Number::parse(&accuracy.reading_percent) {
        Some(percent) if percent.digits == 0 && accuracy.digits == 0 => {
            // It would let a value pass at the very limit as if nothing were in doubt.
            value.fault("of nothing is none: no meter reads without doubt; leave it out".into())
        }
        _ => Some(accuracy),
    }
}

fn gives(value: &Value<'_, '_>) -> Option<Gives> {
    let mut form = value.form()?;
    let test_current = form.may("test_current").and_then(|v| v.amount(Quantity::Ampere));
    let open_circuit = form.may("open_circuit").and_then(|v| v.amount(Quantity::Volt));
    let test_voltage = form.may("test_voltage").and_then(|v| v.amount(Quantity::Volt));
    let kind = form.need("kind").and_then(|v| match v.word()? {
        Kind::Peak => v.fault("is ac or dc: a peak is read, not given".into()),
        kind => Some(kind),
    });
    form.finish();
    Some(Gives { test_current, open_circuit, test_voltage, kind: kind? })
}

fn setup(mut form: Form<'_, '_>) -> Option<Setup> {
    let id = form.need("id").and_then(|v| v.name());
    let what = form.need("what").and_then(|v| v.text());
    let meter = form.need("meter").and_then(|v| v.name());
    let network = form.need("network").and_then(|v| v.name());
    let output = form.may("output").and_then(|v| v.word());
    let function = form.need("function").and_then(|v| v.word());
    let accuracy = form.may("accuracy").and_then(|v| accuracy(&v));
    let ratio = form.may("ratio").and_then(|v| ratio(&v)).unwrap_or_default();
    let lowest = form.may("lowest").and_then(|v| v.amount(function.and_then(Function::quantity)?));
    let calibration_due = form.need("calibration_due").and_then(|v| v.date());
    form.finish();
    Some(Setup {
        id: id?,
        what: what?,
        meter: meter?,
        network: network?,
        output,
        function: function?,
        accuracy,
        ratio,
        lowest,
        calibration_due: calibration_due?,
    })
}

/// Ratio of the network by frequency in hertz.
fn ratio(value: &Value<'_, '_>) -> Option<BTreeMap<String, String>> {
    let mut ratios = BTreeMap::new();
    for (hertz, ratio) in value.form()?.all() {
        if is_decimal(&hertz) {
            ratios.extend(ratio.decimal().map(|ratio| (hertz, ratio)));
        } else {
            ratio.fault::<()>("needs a frequency in hertz as its key: \"50\" = \"0.9987\"".into());
        }
    }
    Some(ratios)
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;
    use crate::register::{Over, SourceClass};

    const EXAMPLE: &str = include_str!("../../../contrib/example/instruments.toml");

    #[test]
    fn the_example_reads_as_it_stands() {
        let (instruments, setups) = read_instruments(EXAMPLE).unwrap();
        let ids: Vec<&str> = instruments.iter().map(|i| i.id.as_str()).collect();
        assert_eq!(ids, ["LR-01", "IR-01", "DM-01"]);
        assert_eq!(instruments[1].source_class, SourceClass::Hazardous);
        assert_eq!(instruments[0].calibration_due, "2027-03-31");
        let range = &instruments[0].ranges[0];
        assert_eq!((range.over, range.gives.unwrap().kind), (Over::Above, Kind::Dc));
        assert_eq!(setups[0].ratio["1000"], "0.694");
        assert_eq!(alloc::format!("{}", setups[0].lowest.unwrap()), "0.5 mV");
    }

    #[test]
    fn a_range_holds_its_certificate() {
        let of = |points: &str| {
            let line = alloc::format!("resolution = \"0.001 Ohm\"\ncalibration = [{points}]");
            read_instruments(&EXAMPLE.replacen("resolution = \"0.001 Ohm\"", &line, 1))
        };
        let one = "{ at = \"0.2 Ohm\", error = \"1 mOhm\", expanded = \"2 mOhm\" }";
        let (instruments, _) = of(one).unwrap();
        let points = &instruments[0].ranges[0].calibration;
        assert_eq!((points.len(), alloc::format!("{}", points[0].error)), (1, "1 mOhm".into()));
        let json = serde_json::to_string(&instruments[0]).unwrap();
        assert_eq!(serde_json::from_str::<Instrument>(&json).unwrap(), instruments[0]);
        let faults = of(&alloc::format!("{one}, {one}")).unwrap_err();
        assert!(faults[0].text.contains("point 1: the next one"), "{faults:?}");
        let faults = of(&one.replace("1 mOhm", "1 mV")).unwrap_err();
        assert!(faults[0].text.contains("unit of another quantity"), "{faults:?}");
    }

    /// Serde, which stops at its first fault, reads what is written back.
    #[test]
    fn what_was_read_is_what_facts_store() {
        let (instruments, _) = read_instruments(EXAMPLE).unwrap();
        for instrument in instruments {
            let json = serde_json::to_string(&instrument).unwrap();
            assert_eq!(serde_json::from_str::<Instrument>(&json).unwrap(), instrument);
        }
    }

    macro_rules! faults {
        ($(
            $name:ident: $from:literal => $to:literal
            : $line:literal, $field:literal, $said:literal;
        )*) => {$(
            #[test]
            fn $name() {
                assert!(EXAMPLE.contains($from));
                let faults = read_instruments(&EXAMPLE.replacen($from, $to, 1)).unwrap_err();
                let found: Vec<_> = faults.iter().map(|f| (f.line, f.field.as_str())).collect();
                assert_eq!(found, [($line, $field)], "{faults:?}");
                assert!(faults[0].text.contains($said), "{}", faults[0].text);
            }
        )*};
    }

    faults! {
        a_newer_format: "instruments-1\"\n" => "instruments-2\"\n":
            2, "format", "newer than this program";
        another_format: "tapline-instruments-1\"\n" => "tapline-plan-1\"\n":
            2, "format", "another format";
        a_mistyped_key: "serial =" => "seral =":
            7, "instrument.LR-01.seral", "did you mean `serial`";
        an_unknown_key: "serial = \"0001\"" => "serial = \"0001\"\ncolour = \"red\"":
            8, "instrument.LR-01.colour", "no known key";
        a_number_for_a_text: "serial = \"0001\"" => "serial = 1":
            7, "instrument.LR-01.serial", "in quotes";
        an_unknown_word: "\"low\"" => "\"lo\"":
            8, "instrument.LR-01.source_class", "did you mean `low`";
        isolation_without_volts: ", volts = 1000 }" => " }":
            9, "instrument.LR-01.isolation.volts", "is missing";
        volts_of_no_isolation: "kind = \"optical\"" => "kind = \"none\"":
            9, "instrument.LR-01.isolation.volts", "leave it out";
        no_day: "2027-03-31" => "\"soon\"":
            10, "instrument.LR-01.calibration_due", "day of the calendar";
        a_day_with_a_time: "2027-03-31" => "2027-03-31T10:00:00Z":
            10, "instrument.LR-01.calibration_due", "day of the calendar";
        another_quantity: "to = \"2 Ohm\"" => "to = \"2 V\"":
            14, "instrument.LR-01.range.1.to", "another quantity";
        no_unit: "to = \"2 Ohm\"" => "to = \"2\"":
            14, "instrument.LR-01.range.1.to", "needs a number";
        a_decimal_without_quotes: "reading_percent = \"1\"" => "reading_percent = 1":
            16, "instrument.LR-01.range.1.accuracy.reading_percent", "in quotes";
        an_accuracy_of_nothing: "reading_percent = \"1\", digits = 5" =>
            "reading_percent = \"0.0\", digits = 0":
            16, "instrument.LR-01.range.1.accuracy", "no meter reads without doubt";
        a_response_of_nothing: "response_ms = 400" => "response_ms = 0":
            15, "instrument.LR-01.range.1.response_ms", "1 to 60000";
        a_range_without_kind: ", kind = \"dc\"" => "":
            18, "instrument.LR-01.range.1.gives.kind", "is missing";
        an_id_twice: "\"IR-01\"" => "\"LR-01\"":
            21, "instrument.LR-01", "a second entry";
        a_ratio_of_no_frequency: "\"50\" =" => "mains =":
            80, "setup.LK-1.ratio.mains", "in hertz";
        a_peak_that_is_given: "gives = { kind = \"dc\" }" => "gives = { kind = \"peak\" }":
            61, "instrument.DM-01.range.2.gives.kind", "read, not given";
        a_peak_with_what_it_gives: "function = \"voltage_dc\"" => "function = \"voltage_peak\"":
            61, "instrument.DM-01.range.2.gives", "leave it out";
        other_terminals: "network = \"NW-1\"" => "network = \"NW-1\"\noutput = \"u3\"":
            78, "setup.LK-1.output", "u1";
        a_text_for_a_flag: "true_rms = true" => "true_rms = \"true\"":
            52, "instrument.DM-01.range.1.true_rms", "without quotes";
    }

    #[test]
    fn a_mistyped_key_that_may_be_left_out_is_guessed() {
        let faults = read_instruments(&EXAMPLE.replacen("over =", "ovr =", 1)).unwrap_err();
        assert_eq!(faults.len(), 1);
        assert!(faults[0].text.contains("did you mean `over`"), "{}", faults[0]);
    }

    #[test]
    fn broken_toml_is_said_without_what_follows_from_it() {
        let faults = read_instruments(&EXAMPLE.replacen("serial = \"0001\"", "serial = ", 1));
        let faults = faults.unwrap_err();
        assert_eq!(faults.len(), 1, "{faults:?}");
        assert_eq!((faults[0].line, faults[0].text.contains("no TOML")), (7, true));
    }

    proptest! {
        #[test]
        fn no_text_panics(text in "(?s).{0,300}", tail in "[a-z\\[\\]{}=\". \n0-9-]{0,200}") {
            let _ = read_instruments(&text);
            let _ = read_instruments(&alloc::format!("{EXAMPLE}\n{tail}"));
        }
    }
}
