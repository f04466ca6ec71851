//! A line taken apart as it is read: what stands around its fact, and the fact.
//!
//! What `flatten` would do, but no key is held twice on the way.

use std::fmt;

use serde::de::value::{MapAccessDeserializer, StrDeserializer};
use serde::de::{DeserializeSeed, Error, MapAccess, Visitor};
use serde::{Deserialize, Deserializer};
use tapline_protocols::Fact;

/// A line as it is stored.
#[derive(Debug)]
pub(super) struct Read {
    pub(super) seq: u64,
    pub(super) t: String,
    pub(super) m: u64,
    pub(super) fact: Fact,
    pub(super) by: Option<String>,
    pub(super) sig: Option<String>,
}

/// What stands around a fact, as far as it came.
#[derive(Default)]
struct Around {
    seq: Option<u64>,
    t: Option<String>,
    m: Option<u64>,
    by: Option<Option<String>>,
    sig: Option<Option<String>>,
}

impl<'de> Deserialize<'de> for Read {
    fn deserialize<D: Deserializer<'de>>(source: D) -> Result<Read, D::Error> {
        source.deserialize_map(Line)
    }
}

struct Line;

impl<'de> Visitor<'de> for Line {
    type Value = Read;

    fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("a line of a book")
    }

    fn visit_map<A: MapAccess<'de>>(self, map: A) -> Result<Read, A::Error> {
        let mut keys = Keys { map, around: Around::default() };
        let fact = Fact::deserialize(MapAccessDeserializer::new(&mut keys))?;
        let Around { seq, t, m, by, sig } = keys.around;
        let missing = A::Error::missing_field;
        Ok(Read {
            seq: seq.ok_or_else(|| missing("seq"))?,
            t: t.ok_or_else(|| missing("t"))?,
            m: m.ok_or_else(|| missing("m"))?,
            fact,
            by: by.flatten(),
            sig: sig.flatten(),
        })
    }
}

/// The keys of a line: those around the fact stay here, the others are the fact's.
struct Keys<A> {
    map: A,
    around: Around,
}

impl<'de, A: MapAccess<'de>> MapAccess<'de> for &mut Keys<A> {
    type Error = A::Error;

    fn next_key_seed<K: DeserializeSeed<'de>>(
        &mut self,
        seed: K,
    ) -> Result<Option<K::Value>, A::Error> {
        while let Some(Key(key)) = self.map.next_key()? {
            let Around { seq, t, m, by, sig } = &mut self.around;
            match key.as_ref() {
                "seq" => once(seq, "seq", &mut self.map)?,
                "t" => once(t, "t", &mut self.map)?,
                "m" => once(m, "m", &mut self.map)?,
                "by" => once(by, "by", &mut self.map)?,
                "sig" => once(sig, "sig", &mut self.map)?,
                own => return seed.deserialize(StrDeserializer::new(own)).map(Some),
            }
        }
        Ok(None)
    }

    fn next_value_seed<V: DeserializeSeed<'de>>(&mut self, seed: V) -> Result<V::Value, A::Error> {
        self.map.next_value_seed(seed)
    }
}

/// Takes a value that may stand in a line once.
fn once<'de, T: Deserialize<'de>, A: MapAccess<'de>>(
    place: &mut Option<T>,
    key: &'static str,
    map: &mut A,
) -> Result<(), A::Error> {
    match place.replace(map.next_value()?) {
        None => Ok(()),
        Some(_) => Err(A::Error::duplicate_field(key)),
    }
}

/// A key, borrowed where it can be.
#[derive(Deserialize)]
struct Key<'a>(#[serde(borrow)] std::borrow::Cow<'a, str>);
