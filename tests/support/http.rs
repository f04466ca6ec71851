//! The station's interface by hand: one request a connection over the unix socket. HTTP/1.0, so
//! that an answer ends where the connection ends, and needs no library to be read.

use std::io::{self, BufRead, BufReader, Read, Write};
use std::os::unix::net::UnixStream;
use std::path::Path;

/// Sends a request; the answer's status, and its body to be read.
pub(crate) fn open(
    socket: &Path,
    method: &str,
    path: &str,
    body: &str,
) -> io::Result<(u16, BufReader<UnixStream>)> {
    let mut stream = UnixStream::connect(socket)?;
    let length = body.len();
    let head = format!("{method} {path} HTTP/1.0\r\nHost: tapline\r\nContent-Length: {length}");
    stream.write_all(format!("{head}\r\n\r\n{body}").as_bytes())?;
    let mut answer = BufReader::new(stream);
    let mut line = String::new();
    answer.read_line(&mut line)?;
    let status = line.split(' ').nth(1).and_then(|word| word.parse().ok());
    let status = status.ok_or_else(|| io::Error::other(format!("no status in {line:?}")))?;
    while line.trim_end() != "" {
        line.clear();
        answer.read_line(&mut line)?;
    }
    Ok((status, answer))
}

/// Sends a request and takes the whole answer.
pub(crate) fn ask(
    socket: &Path,
    method: &str,
    path: &str,
    body: &str,
) -> io::Result<(u16, String)> {
    let (status, mut answer) = open(socket, method, path, body)?;
    let mut text = String::new();
    answer.read_to_string(&mut text)?;
    Ok((status, text))
}
