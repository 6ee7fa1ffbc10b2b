//! One kept-open connection to an HTTP/1.1 server: writes a request, reads the answer whole.

use std::{
    io::{ErrorKind, Read, Write},
    net::TcpStream,
};

use crate::Fault;

#[derive(Debug)]
pub struct Line {
    stream: TcpStream,
    read: Vec<u8>,
    answer: Vec<u8>,
}

#[derive(Debug)]
pub struct Answer<'a> {
    pub status: u16,
    pub body: &'a [u8],
}

impl Line {
    pub fn new(address: &str) -> Result<Self, Fault> {
        let stream = TcpStream::connect(address)?;
        // A request is one small write, which must not wait for the next.
        stream.set_nodelay(true)?;
        Ok(Self { stream, read: vec![0; 1 << 16], answer: Vec::new() })
    }

    pub fn ask(&mut self, request: &[u8]) -> Result<Answer<'_>, Fault> {
        self.stream.write_all(request)?;
        self.answer.clear();
        let body = loop {
            self.more()?;
            if let Some(at) = self.answer.windows(4).position(|four| four == b"\r\n\r\n") {
                break at + 4;
            }
        };
        let (status, length) = head(self.answer.get(..body).unwrap_or_default())?;
        while self.answer.len() < body + length {
            self.more()?;
        }
        Ok(Answer { status, body: self.answer.get(body..body + length).unwrap_or_default() })
    }

    fn more(&mut self) -> Result<(), Fault> {
        let count = loop {
            match self.stream.read(&mut self.read) {
                Err(error) if error.kind() == ErrorKind::Interrupted => {}
                other => break other?,
            }
        };
        if count == 0 {
            return Err("the server hung up in the middle of an answer".into());
        }
        self.answer.extend_from_slice(self.read.get(..count).unwrap_or_default());
        Ok(())
    }
}

/// Status and length of the body.
fn head(head: &[u8]) -> Result<(u16, usize), Fault> {
    let text = str::from_utf8(head)?;
    let mut lines = text.split("\r\n");
    let status = lines.next().and_then(|first| first.split(' ').nth(1)).ok_or("an answer without a status")?.parse()?;
    let length = lines
        .filter_map(|line| line.split_once(':'))
        .find(|(name, _)| name.eq_ignore_ascii_case("content-length"))
        .map(|(_, value)| value.trim().parse());
    match length {
        Some(length) => Ok((status, length?)),
        None if status == 204 => Ok((status, 0)),
        None => Err(format!("an answer without a length: {text}").into()),
    }
}

#[cfg(test)]
mod tests {
    use super::head;

    #[test]
    fn status_and_length_are_read() {
        assert_eq!(head(b"HTTP/1.1 201 Created\r\nX: y\r\nContent-Length: 12\r\n\r\n").unwrap(), (201, 12));
        assert_eq!(head(b"HTTP/1.1 204 No Content\r\n\r\n").unwrap(), (204, 0));
        assert!(head(b"HTTP/1.1 200 OK\r\ntransfer-encoding: chunked\r\n\r\n").is_err());
        assert!(head(b"nonsense\r\n\r\n").is_err());
    }
}
