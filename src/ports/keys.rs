//! Which input nodes may be barcode scanners: a scanner of this kind is a keyboard.

use std::path::Path;

use super::{Kind, text};

/// `<linux/input.h>`: the bus of a thing.
const BUSES: [&str; 2] = ["0003", "0005"];

/// `<linux/input-event-codes.h>`: 1 to 0, Enter, A and Z.
const KEYS: [usize; 13] = [2, 3, 4, 5, 6, 7, 8, 9, 10, 11, 28, 30, 44];

/// What scanners call themselves; in small letters.
const NAMES: [&str; 5] = ["scanner", "barcode", "bar code", "2d imager", "code reader"];

/// A USB or Bluetooth keyboard with digits, letters and Enter; `None` for anything else.
pub(super) fn wedge(input: &Path) -> Option<Kind> {
    let bus = text(&input.join("id/bustype"))?;
    let keys = text(&input.join("capabilities/key"))?;
    let typing = BUSES.contains(&bus.as_str()) && KEYS.iter().all(|key| has(&keys, *key));
    let name = text(&input.join("name")).unwrap_or_default().to_lowercase();
    let named = NAMES.iter().any(|word| name.contains(word));
    typing.then_some(Kind::Wedge { named })
}

/// A bit of the kernel's bitmap: words of the machine's own width, the last one first in value.
fn has(bitmap: &str, key: usize) -> bool {
    let width = usize::BITS as usize;
    let word = bitmap.split_whitespace().rev().nth(key / width);
    let word = word.and_then(|word| usize::from_str_radix(word, 16).ok()).unwrap_or(0);
    word >> (key % width) & 1 == 1
}

#[cfg(test)]
mod tests {
    use super::*;

    // The bitmap of a common keyboard, and of a power button (KEY_POWER, 116), as in public
    // `/proc/bus/input/devices` listings.
    #[test]
    fn a_keyboard_has_letters_and_a_power_button_none() {
        let keyboard = "1000000000007 ff9f207ac14057ff febeffdfffefffff fffffffffffffffe";
        assert!(KEYS.iter().all(|key| has(keyboard, *key)));
        assert!(!KEYS.iter().any(|key| has("10000000000000 0", *key)));
        assert!(has("10000000000000 0", 116));
    }
}
