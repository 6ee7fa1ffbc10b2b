//! A text with gaps: `<id>` is filled with a new id each time, `<0>`, `<1>` ... with a row's values.

use std::io::Write;

use uuid::Uuid;

use crate::Fault;

#[derive(Debug)]
enum Piece {
    Plain(String),
    Id,
    Value(usize),
}

#[derive(Debug)]
pub struct Template(Vec<Piece>);

impl Template {
    pub fn new(text: &str) -> Self {
        let mut pieces = Vec::new();
        let mut plain = String::new();
        let mut rest = text;
        while let Some((before, after)) = rest.split_once('<') {
            plain.push_str(before);
            let gap = after.split_once('>').and_then(|(name, behind)| Some((gap(name)?, behind)));
            if let Some((piece, behind)) = gap {
                pieces.push(Piece::Plain(std::mem::take(&mut plain)));
                pieces.push(piece);
                rest = behind;
            } else {
                plain.push('<');
                rest = after;
            }
        }
        plain.push_str(rest);
        pieces.push(Piece::Plain(plain));
        Self(pieces)
    }

    /// Writes the text with one id in all of its gaps for ids. A row without a value for a gap is a fault of whoever made the rows.
    pub fn fill(&self, into: &mut Vec<u8>, id: Uuid, row: &[String]) -> Result<(), Fault> {
        for piece in &self.0 {
            match piece {
                Piece::Plain(text) => into.extend_from_slice(text.as_bytes()),
                Piece::Id => write!(into, "{id}")?,
                Piece::Value(number) => {
                    let value = row.get(*number).ok_or_else(|| format!("a row has no value for <{number}>"))?;
                    into.extend_from_slice(value.as_bytes());
                }
            }
        }
        Ok(())
    }
}

fn gap(name: &str) -> Option<Piece> {
    if name == "id" { Some(Piece::Id) } else { Some(Piece::Value(name.parse().ok()?)) }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn gaps_are_filled_and_other_brackets_stay() {
        let filled = |text: &str| {
            let mut into = Vec::new();
            let row = ["a".to_owned(), "b".to_owned()];
            Template::new(text).fill(&mut into, Uuid::nil(), &row).map(|()| String::from_utf8(into).unwrap())
        };
        assert_eq!(filled("x<1>y<0><1>").unwrap(), "xbyab");
        assert_eq!(filled("1 < 2, <p>, <").unwrap(), "1 < 2, <p>, <");
        assert_eq!(filled("<id>").unwrap(), Uuid::nil().to_string());
        assert!(filled("<2>").is_err());
    }
}
