//! What is told to another system when a record is sealed, signed so that it can tell who said it.
//!
//! Headers and signature are those of the open specification Standard Webhooks 1.0
//! (<https://www.standardwebhooks.com>): HMAC-SHA256 over `id.timestamp.body`. Whoever receives it
//! compares in constant time, refuses what is older than five minutes and what it has had: the id
//! of a message is the same each time it is sent.

use data_encoding::BASE64;
use hmac::{Hmac, KeyInit, Mac};
use serde_json::json;
use sha2::Sha256;
use tapline_paper::report::Report;

use super::tables::{moment, outcome, sha256};

/// What both sides know.
pub struct Secret(Vec<u8>);

/// Shortest and longest secret, bytes (Standard Webhooks 1.0).
const SECRET: std::ops::RangeInclusive<usize> = 24..=64;

impl Secret {
    /// Reads `whsec_` with base64 behind it, or base64 alone; `None` if it is none, or too short.
    #[must_use]
    pub fn read(text: &str) -> Option<Secret> {
        let text = text.trim();
        let bytes = BASE64.decode(text.strip_prefix("whsec_").unwrap_or(text).as_bytes()).ok()?;
        SECRET.contains(&bytes.len()).then_some(Secret(bytes))
    }

    /// The value of the header `webhook-signature`.
    #[must_use]
    pub fn signature(&self, id: &str, seconds: i64, body: &str) -> String {
        let text = format!("{id}.{seconds}.{body}");
        format!("v1,{}", BASE64.encode(&mac(&self.0, text.as_bytes())))
    }
}

fn mac(key: &[u8], bytes: &[u8]) -> Vec<u8> {
    let mut mac = Hmac::<Sha256>::new_from_slice(key).expect("a key may have any length");
    mac.update(bytes);
    mac.finalize().into_bytes().to_vec()
}

/// What is told of a sealed record: a summary, never the record.
#[must_use]
pub fn body(report: &Report) -> String {
    let who = report.signatures.iter().find(|one| one.meaning == "performed");
    json!({
        "type": "inspection.sealed",
        "timestamp": moment(report.closed),
        "data": {
            "station": report.site.station,
            "record": report.id,
            "asset": report.asset.id,
            "reason": report.reason,
            "plan": report.plan.id,
            "outcome": outcome(report),
            "by": who.map(|one| one.id.as_str()),
            "sha256": sha256(report),
        },
    })
    .to_string()
}

#[cfg(test)]
mod tests {
    use data_encoding::HEXLOWER;

    use super::*;

    /// RFC 4231, sections 4.2 to 4.4 and 4.7, 4.8: key, data, HMAC-SHA-256.
    #[test]
    fn the_vectors_of_rfc_4231() {
        let long = [0xaa; 131];
        let cases: [(&[u8], &[u8], &str); 5] = [
            (
                &[0x0b; 20],
                b"Hi There",
                "b0344c61d8db38535ca8afceaf0bf12b881dc200c9833da726e9376c2e32cff7",
            ),
            (
                b"Jefe",
                b"what do ya want for nothing?",
                "5bdcc146bf60754e6a042426089575c75a003f089d2739839dec58b964ec3843",
            ),
            (
                &[0xaa; 20],
                &[0xdd; 50],
                "773ea91e36800e46854db8ebd09181a72959098b3ef8c122d9635514ced565fe",
            ),
            (
                &long,
                b"Test Using Larger Than Block-Size Key - Hash Key First",
                "60e431591ee0b67f0d8a26aacbf5b77f8e0bc6213728c5140546040f0ee37f54",
            ),
            (
                &long,
                b"This is a test using a larger than block-size key and a larger than block-size \
                  data. The key needs to be hashed before being used by the HMAC algorithm.",
                "9b09ffa71b942fcb27635fbcd5b0e944bfdc63644f0713938a7f51535c3a35e2",
            ),
        ];
        for (key, data, want) in cases {
            assert_eq!(HEXLOWER.encode(&mac(key, data)), want);
        }
    }

    #[test]
    fn a_secret_is_base64_and_long_enough() {
        let long = BASE64.encode(&[7; 32]);
        assert!(Secret::read(&format!("whsec_{long}\n")).is_some());
        assert!(Secret::read(&long).is_some());
        assert!(Secret::read(&BASE64.encode(&[7; 8])).is_none());
        assert!(Secret::read("whsec_?").is_none());
    }
}
