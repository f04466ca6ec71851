//! What a key of a keyboard stands for, by the layout that a scanner was told to type in.
//!
//! Codes of keys: `<linux/input-event-codes.h>`. The German layout is from memory.

use crate::config::Layout;

/// First code of each row of keys; a row holds what its keys stand for, `\0` where that is no
/// character of ASCII.
type Row = (u16, &'static [u8]);

const US: [[Row; 4]; 2] = [
    [(2, b"1234567890-="), (16, b"qwertyuiop[]"), (30, b"asdfghjkl;'`"), (43, b"\\zxcvbnm,./")],
    [(2, b"!@#$%^&*()_+"), (16, b"QWERTYUIOP{}"), (30, b"ASDFGHJKL:\"~"), (43, b"|ZXCVBNM<>?")],
];

const DE: [[Row; 4]; 2] = [
    [(2, b"1234567890"), (16, b"qwertzuiop\0+"), (30, b"asdfghjkl"), (43, b"#yxcvbnm,.-")],
    [(2, b"!\"\0$%&/()=?"), (16, b"QWERTZUIOP\0*"), (30, b"ASDFGHJKL"), (43, b"'YXCVBNM;:_")],
];

/// With the third level of the German layout (Alt Gr).
const DE_THIRD: [Row; 4] = [(8, b"{[]}"), (12, b"\\"), (16, b"@\0\0\0\0\0\0\0\0\0\0~"), (86, b"|")];

/// The key beside the left shift key of a keyboard with 105 keys.
const KEY_102ND: u16 = 86;
const SPACE: u16 = 57;

/// Which levels are held down.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub(super) struct Levels {
    /// A shift key.
    pub shift: bool,
    /// Letters are capitals.
    pub caps: bool,
    /// Alt Gr, where the layout has a third level.
    pub third: bool,
}

/// The character of a key; `None`: it has none in ASCII.
pub(super) fn character(layout: Layout, code: u16, levels: Levels) -> Option<u8> {
    if let Some(byte) = pad(code) {
        return Some(byte);
    }
    if code == SPACE {
        return Some(b' ');
    }
    let rows = match layout {
        Layout::Us => &US,
        Layout::De => &DE,
    };
    if layout == Layout::De && levels.third {
        return find(&DE_THIRD, code);
    }
    if code == KEY_102ND {
        return Some(if levels.shift { b'>' } else { b'<' });
    }
    let byte = find(&rows[usize::from(levels.shift)], code)?;
    Some(match levels.caps {
        true if byte.is_ascii_lowercase() => byte.to_ascii_uppercase(),
        true if byte.is_ascii_uppercase() => byte.to_ascii_lowercase(),
        _ => byte,
    })
}

fn find(rows: &[Row], code: u16) -> Option<u8> {
    let key = |(first, keys): &Row| {
        keys.get(usize::from(code.checked_sub(*first)?)).copied().filter(|byte| *byte != 0)
    };
    rows.iter().find_map(key)
}

/// The numeric pad: the same in every layout that is known here, whatever Num Lock says.
pub(super) fn pad(code: u16) -> Option<u8> {
    Some(match code {
        55 => b'*',
        71..=73 => b"789"[usize::from(code - 71)],
        74 => b'-',
        75..=77 => b"456"[usize::from(code - 75)],
        78 => b'+',
        79..=81 => b"123"[usize::from(code - 79)],
        82 => b'0',
        83 => b'.',
        98 => b'/',
        _ => return None,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn typed(layout: Layout, code: u16, shift: bool) -> Option<u8> {
        character(layout, code, Levels { shift, ..Levels::default() })
    }

    // <linux/input-event-codes.h>: KEY_1 2, KEY_0 11, KEY_Q 16, KEY_A 30, KEY_Z 44, KEY_M 50,
    // KEY_SLASH 53, KEY_KP0 82, KEY_BACKSLASH 43, KEY_GRAVE 41, KEY_Y 21.
    #[test]
    fn keys_of_the_header_are_what_they_are_called() {
        for (code, plain, shifted) in [
            (2, b'1', b'!'),
            (11, b'0', b')'),
            (12, b'-', b'_'),
            (13, b'=', b'+'),
            (16, b'q', b'Q'),
            (21, b'y', b'Y'),
            (26, b'[', b'{'),
            (27, b']', b'}'),
            (30, b'a', b'A'),
            (39, b';', b':'),
            (41, b'`', b'~'),
            (43, b'\\', b'|'),
            (44, b'z', b'Z'),
            (50, b'm', b'M'),
            (52, b'.', b'>'),
            (53, b'/', b'?'),
        ] {
            assert_eq!(typed(Layout::Us, code, false), Some(plain), "{code}");
            assert_eq!(typed(Layout::Us, code, true), Some(shifted), "{code}");
        }
        assert_eq!(typed(Layout::Us, 82, false), Some(b'0'));
        assert_eq!(typed(Layout::Us, 59, false), None, "KEY_F1");
    }

    #[test]
    fn every_character_that_can_be_printed_has_one_key_in_either_layout() {
        let levels = [false, true].map(|shift| Levels { shift, ..Levels::default() });
        let third = Levels { third: true, ..Levels::default() };
        for (layout, levels) in
            [(Layout::Us, &levels[..]), (Layout::De, &[levels[0], levels[1], third])]
        {
            let mut found: Vec<u8> = Vec::new();
            for code in (1..=88).filter(|code| pad(*code).is_none()) {
                found.extend(levels.iter().filter_map(|level| character(layout, code, *level)));
            }
            // `^` and the backtick are dead keys of the German layout.
            let dead: &[u8] = if layout == Layout::De { b"^`" } else { b"" };
            for byte in (b' '..=b'~').filter(|byte| !dead.contains(byte)) {
                assert!(found.contains(&byte), "{layout:?} has no {}", char::from(byte));
            }
        }
    }

    #[test]
    fn capitals_are_of_letters_alone() {
        let caps = Levels { caps: true, ..Levels::default() };
        assert_eq!(character(Layout::Us, 30, caps), Some(b'A'));
        assert_eq!(character(Layout::Us, 12, caps), Some(b'-'));
        assert_eq!(character(Layout::Us, 30, Levels { shift: true, ..caps }), Some(b'a'));
    }
}
