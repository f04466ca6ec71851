//! Codes as a scanner types them. Codes of keys are those of `<linux/input-event-codes.h>`; the
//! form of an event is that of `struct input_event`, `<linux/input.h>`, on 64 bits.
#![allow(clippy::host_endian_bytes, reason = "the kernel writes its own order")]

use super::*;

/// One event as the kernel writes it.
fn bytes(at_us: u64, kind: u16, code: u16, value: i32) -> Vec<u8> {
    let (s, us) = (at_us / 1_000_000, at_us % 1_000_000);
    let mut all = [s.to_ne_bytes(), us.to_ne_bytes()].concat();
    all.extend(kind.to_ne_bytes());
    all.extend(code.to_ne_bytes());
    all.extend(value.to_ne_bytes());
    all
}

/// A person or a scanner at the keys: one stroke every so many microseconds.
struct Hand {
    now: u64,
    pace: u64,
    out: Vec<u8>,
}

impl Hand {
    fn new(pace: u64) -> Hand {
        Hand { now: 1_795_677_266_000_000, pace, out: Vec::new() }
    }

    fn put(&mut self, code: u16, value: i32) {
        self.out.extend(bytes(self.now, EV_KEY, code, value));
        self.out.extend(bytes(self.now, EV_SYN, 0, 0));
    }

    fn stroke(&mut self, code: u16) -> &mut Hand {
        self.now += self.pace;
        self.put(code, 1);
        self.put(code, 0);
        self
    }

    fn held(&mut self, with: u16, codes: &[u16]) -> &mut Hand {
        self.put(with, 1);
        codes.iter().for_each(|code| {
            self.stroke(*code);
        });
        self.put(with, 0);
        self
    }
}

/// Reads it with these cuts.
async fn read(layout: Layout, out: &[u8], cut: usize) -> Vec<u8> {
    let (writer, file) = tokio::net::unix::pipe::pipe().unwrap();
    let (typist, name) = (Typist::new(layout), "pipe".to_owned());
    let mut keys = Keys { file, name, typist, held: Vec::new(), ready: Vec::new() };
    out.chunks(cut).for_each(|part| keys.take(part));
    drop(writer);
    let (mut all, mut buffer) = (Vec::new(), [0; 7]);
    while let Ok(count @ 1..) = keys.read(&mut buffer).await {
        all.extend(&buffer[..count]);
    }
    all
}

async fn us(out: &[u8]) -> String {
    let whole = read(Layout::Us, out, usize::MAX).await;
    for cut in [1, 5, 24, 25, 100] {
        assert_eq!(read(Layout::Us, out, cut).await, whole, "cut in {cut}");
    }
    String::from_utf8(whole).unwrap()
}

// KEY_P 25, KEY_MINUS 12, KEY_0 11, KEY_1 2, KEY_7 8, KEY_ENTER 28, KEY_TAB 15, KEY_KPENTER 96.
#[tokio::test]
async fn a_code_is_handed_over_whole_at_its_end() {
    for end in [28, 15, 96] {
        let mut hand = Hand::new(4_000);
        hand.held(42, &[25]);
        [12, 11, 2, 11, 8].into_iter().for_each(|code| {
            hand.stroke(code);
        });
        assert_eq!(us(&hand.out).await, "", "nothing before its end");
        hand.stroke(end);
        assert_eq!(us(&hand.out).await, "P-0107\r");
        hand.stroke(end);
        assert_eq!(us(&hand.out).await, "P-0107\r", "an end alone is no code");
    }
}

#[tokio::test]
async fn the_layout_is_that_of_the_scanner() {
    let mut hand = Hand::new(4_000);
    // KEY_Y 21, KEY_Z 44, KEY_SLASH 53, KEY_MINUS 12: a keyboard of either country.
    [21, 44, 53, 2].into_iter().for_each(|code| {
        hand.stroke(code);
    });
    hand.stroke(28);
    assert_eq!(us(&hand.out).await, "yz/1\r");
    assert_eq!(read(Layout::De, &hand.out, 24).await, b"zy-1\r");
}

// KEY_KP7 71, KEY_KP0 82, KEY_KPDOT 83; KEY_LEFTALT 56: Alt and 0 6 5 is `A` (byte 65, ASCII).
#[tokio::test]
async fn the_numeric_pad_gives_digits_and_with_alt_any_byte() {
    let mut hand = Hand::new(4_000);
    hand.stroke(71).stroke(83).stroke(82).held(56, &[82, 77, 76]).held(56, &[82, 80, 73]);
    hand.stroke(28);
    assert_eq!(us(&hand.out).await, "7.0A\u{1d}\r", "29 is GS");
    // KEY_LEFTCTRL 29, KEY_RIGHTBRACE 27: Control and `]` is GS, too.
    let mut hand = Hand::new(4_000);
    hand.stroke(30).held(29, &[27]).stroke(30).stroke(28);
    assert_eq!(us(&hand.out).await, "a\u{1d}a\r");
}

#[tokio::test]
async fn events_that_were_lost_take_the_code_with_them_and_no_other() {
    let mut hand = Hand::new(4_000);
    hand.stroke(30).put(42, 1);
    hand.out.extend(bytes(hand.now, EV_SYN, SYN_DROPPED, 0));
    hand.stroke(48).stroke(28);
    assert_eq!(us(&hand.out).await, "\0\r");
    // The shift key that may have been let go meanwhile is held no more.
    hand.now += 2_000_000;
    hand.stroke(30).stroke(28);
    assert_eq!(us(&hand.out).await, "\0\ra\r");
}

#[tokio::test]
async fn a_person_who_types_is_no_scanner() {
    let mut hand = Hand::new(GAP_US + 1);
    hand.stroke(30).stroke(48).stroke(28);
    assert_eq!(us(&hand.out).await, "\0\r");
    let mut hand = Hand::new(GAP_US);
    hand.stroke(30).stroke(48).stroke(28);
    assert_eq!(us(&hand.out).await, "ab\r", "the slowest scanner");
    // A key that was struck before a scan spoils it: what of it is the code is not known.
    let mut hand = Hand::new(4_000);
    hand.stroke(2);
    hand.now += 1_000_000;
    hand.stroke(30).stroke(48).stroke(28);
    assert_eq!(us(&hand.out).await, "\0\r");
}

#[tokio::test]
async fn what_is_no_character_spoils_the_code() {
    // KEY_F1 59; Alt and 300; Control and a digit; Alt and 13, a CR within.
    for spoil in [
        |hand: &mut Hand| {
            hand.stroke(59);
        },
        |hand: &mut Hand| {
            hand.held(56, &[81, 82, 82]);
        },
        |hand: &mut Hand| {
            hand.held(29, &[2]);
        },
        |hand: &mut Hand| {
            hand.held(56, &[79, 81]);
        },
    ] {
        let mut hand = Hand::new(4_000);
        hand.stroke(30);
        spoil(&mut hand);
        hand.stroke(48).stroke(28);
        assert_eq!(us(&hand.out).await, "\0\r");
    }
}

#[tokio::test]
async fn a_key_that_is_held_types_once_and_a_code_has_a_bound() {
    let mut hand = Hand::new(4_000);
    hand.stroke(30);
    (0..50).for_each(|_| hand.put(30, 2));
    hand.stroke(28);
    assert_eq!(us(&hand.out).await, "a\r");
    let mut hand = Hand::new(4_000);
    (0..=LONGEST).for_each(|_| {
        hand.stroke(30);
    });
    hand.stroke(28);
    assert_eq!(read(Layout::Us, &hand.out, 24).await, LOST);
}
