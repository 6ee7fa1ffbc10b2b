//! What is in a copy: the whole book, or the pages that changed since a whole copy was made; pressed, and on request sealed. What a
//! copy comes to is the book of its moment, byte for byte, and is held against it before the copy counts.

use std::{
    fs::File,
    io::{self, BufReader, BufWriter, Read, Write},
    path::Path,
};

use sha2::{Digest, Sha256};

use super::sealed::{self, PublicKey, Secret};
use crate::store::file;

/// The pieces that are compared, as large as a page of the book.
const BLOCK: usize = 4096;
/// What a copy begins with that has only what changed.
const MAGIC: &[u8] = b"swardbook since 1\n";
/// Stands where the number of a further piece would.
const END: u32 = u32::MAX;
/// How hard copies are pressed: little is gained beyond.
const LEVEL: i32 = 3;
/// How a Zstandard frame begins (RFC 8878, 3.1.1).
const ZSTD: &[u8] = &[0x28, 0xb5, 0x2f, 0xfd];
const SQLITE: &[u8] = b"SQLite format 3\0";

pub type Hash = [u8; 32];
/// Half of a hash tells pieces apart; what they come to is held against the whole of one.
type Half = [u8; 16];

fn invalid(what: impl Into<String>) -> io::Error {
    io::Error::new(io::ErrorKind::InvalidData, what.into())
}

/// Fills a piece as far as there is something to read; says how far.
fn fill(read: &mut impl Read, piece: &mut [u8]) -> io::Result<usize> {
    let mut filled = 0;
    while filled < piece.len() {
        match read.read(&mut piece[filled..]) {
            Ok(0) => break,
            Ok(more) => filled += more,
            Err(error) if error.kind() == io::ErrorKind::Interrupted => {}
            Err(error) => return Err(error),
        }
    }
    Ok(filled)
}

fn half(piece: &[u8]) -> Half {
    let mut half = Half::default();
    half.copy_from_slice(&Sha256::digest(piece)[..16]);
    half
}

/// A file's pieces, one after the other.
struct Pieces(BufReader<File>);

impl Pieces {
    fn of(path: &Path) -> io::Result<Self> {
        Ok(Self(BufReader::with_capacity(1 << 18, File::open(path)?)))
    }

    /// The next one; the last may be short. Nothing at the end.
    fn next<'a>(&mut self, piece: &'a mut [u8; BLOCK]) -> io::Result<Option<&'a [u8]>> {
        let filled = fill(&mut self.0, piece)?;
        Ok((filled > 0).then_some(&piece[..filled]))
    }
}

/// What is remembered of a whole copy, to tell later what changed since: 16 bytes a page, so 8 MB for a book of 2 GB.
#[derive(Debug)]
pub struct Remembered {
    pub name: String,
    pub hash: Hash,
    pieces: Vec<Half>,
}

impl Remembered {
    /// Of a file that is about to be a whole copy of this name.
    pub fn of(path: &Path, name: String) -> io::Result<Self> {
        let (mut pages, mut piece) = (Pieces::of(path)?, [0; BLOCK]);
        let (mut all, mut pieces) = (Sha256::new(), Vec::new());
        while let Some(piece) = pages.next(&mut piece)? {
            all.update(piece);
            pieces.push(half(piece));
        }
        Ok(Self { name, hash: all.finalize().into(), pieces })
    }

    /// Whether so much changed that a whole copy serves better.
    pub fn is_far_from(&self, path: &Path) -> io::Result<bool> {
        let (mut pages, mut piece) = (Pieces::of(path)?, [0; BLOCK]);
        let (mut all, mut changed) = (0_usize, 0_usize);
        while let Some(piece) = pages.next(&mut piece)? {
            changed += usize::from(self.pieces.get(all) != Some(&half(piece)));
            all += 1;
        }
        Ok(changed * 2 > all)
    }
}

/// Where what is pressed goes.
enum Sink {
    Plain(BufWriter<File>),
    Sealed(Box<sealed::Writer<BufWriter<File>>>),
}

impl Write for Sink {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        match self {
            Self::Plain(out) => out.write(bytes),
            Self::Sealed(out) => out.write(bytes),
        }
    }

    fn flush(&mut self) -> io::Result<()> {
        match self {
            Self::Plain(out) => out.flush(),
            Self::Sealed(out) => out.flush(),
        }
    }
}

/// Presses a book, or what changed in it, into a new file; seals it to the keys, if there are any.
pub fn pack(book: &Path, since: Option<&Remembered>, keys: &[PublicKey], to: &Path) -> io::Result<()> {
    file::make(to)?;
    let out = BufWriter::with_capacity(1 << 18, File::options().write(true).open(to)?);
    let sink = if keys.is_empty() { Sink::Plain(out) } else { Sink::Sealed(Box::new(sealed::Writer::new(out, keys)?)) };
    let mut packed = zstd::Encoder::new(sink, LEVEL)?;
    packed.include_checksum(true)?;
    match since {
        None => {
            io::copy(&mut BufReader::with_capacity(1 << 18, File::open(book)?), &mut packed)?;
        }
        Some(whole) => write_since(book, whole, &mut packed)?,
    }
    let out = match packed.finish()? {
        Sink::Plain(out) => out,
        Sink::Sealed(out) => out.finish()?,
    };
    out.into_inner().map_err(io::IntoInnerError::into_error)?.sync_all()
}

fn write_since(book: &Path, whole: &Remembered, out: &mut impl Write) -> io::Result<()> {
    let length = u16::try_from(whole.name.len()).map_err(|_| invalid("its name is too long"))?;
    out.write_all(MAGIC)?;
    out.write_all(&length.to_be_bytes())?;
    out.write_all(whole.name.as_bytes())?;
    out.write_all(&whole.hash)?;
    out.write_all(&std::fs::metadata(book)?.len().to_be_bytes())?;
    let (mut pages, mut piece, mut all) = (Pieces::of(book)?, [0; BLOCK], Sha256::new());
    let mut number = 0_u32;
    while let Some(piece) = pages.next(&mut piece)? {
        all.update(piece);
        if whole.pieces.get(number as usize) != Some(&half(piece)) {
            out.write_all(&number.to_be_bytes())?;
            out.write_all(piece)?;
        }
        number = number.checked_add(1).filter(|next| *next != END).ok_or_else(|| invalid("it is too large"))?;
    }
    out.write_all(&END.to_be_bytes())?;
    out.write_all(&all.finalize())
}

/// Reads what is in a copy, however it is kept.
pub fn opened(copy: &Path, secret: Option<&Secret>) -> io::Result<Box<dyn Read>> {
    let mut read = BufReader::with_capacity(1 << 18, File::open(copy)?);
    let mut head = [0; 16];
    let filled = fill(&mut read, &mut head)?;
    let head = io::Cursor::new(head[..filled].to_vec());
    if head.get_ref() == SQLITE {
        return Ok(Box::new(head.chain(read)));
    }
    if head.get_ref().starts_with(ZSTD) {
        return Ok(Box::new(zstd::Decoder::with_buffer(BufReader::new(head.chain(read)))?));
    }
    let opened = sealed::Reader::new(head.chain(read), secret)?;
    Ok(Box::new(zstd::Decoder::with_buffer(BufReader::with_capacity(1 << 17, opened))?))
}

/// What a copy tells of itself that has only what changed.
#[derive(Debug)]
pub struct Since {
    /// The whole copy that it goes with.
    pub whole: String,
    whole_hash: Hash,
    length: u64,
}

/// What a copy has, as far as its beginning tells, and the rest of it.
enum Content {
    Whole(Box<dyn Read>),
    Since(Since, Box<dyn Read>),
}

fn content(copy: &Path, secret: Option<&Secret>) -> io::Result<Content> {
    let mut read = opened(copy, secret)?;
    let mut head = [0; 16];
    let filled = fill(&mut read, &mut head)?;
    if head == SQLITE {
        return Ok(Content::Whole(Box::new(io::Cursor::new(head).chain(read))));
    }
    let mut rest = [0; MAGIC.len() - 16];
    read.read_exact(&mut rest).map_err(|_| invalid("it holds no records"))?;
    if head[..filled] != MAGIC[..16] || rest != MAGIC[16..] {
        return Err(invalid("it holds no records"));
    }
    let (mut length, mut whole_hash, mut bytes) = ([0; 2], [0; 32], [0; 8]);
    read.read_exact(&mut length)?;
    let mut name = vec![0; usize::from(u16::from_be_bytes(length))];
    read.read_exact(&mut name)?;
    read.read_exact(&mut whole_hash)?;
    read.read_exact(&mut bytes)?;
    // A name leads nowhere else: the whole copy lies beside.
    let whole = String::from_utf8(name).ok().filter(|name| super::Name::parse(name).is_some());
    let whole = whole.ok_or_else(|| invalid("it names no whole copy"))?;
    Ok(Content::Since(Since { whole, whole_hash, length: u64::from_be_bytes(bytes) }, read))
}

/// Whether a file is no book as it is.
pub fn is_packed(file: &Path) -> io::Result<bool> {
    let mut head = [0; SQLITE.len()];
    let filled = fill(&mut File::open(file)?, &mut head)?;
    Ok(head[..filled].starts_with(ZSTD) || sealed::begins(&head[..filled]))
}

/// The name of the whole copy that a copy goes with; nothing where it is whole by itself.
pub fn goes_with(copy: &Path, secret: Option<&Secret>) -> io::Result<Option<String>> {
    match content(copy, secret)? {
        Content::Whole(_) => Ok(None),
        Content::Since(since, _) => Ok(Some(since.whole)),
    }
}

/// The pieces that a copy has, in order.
struct Changed {
    read: Box<dyn Read>,
    next: u32,
}

impl Changed {
    fn of(mut read: Box<dyn Read>) -> io::Result<Self> {
        let next = number(&mut read)?;
        Ok(Self { read, next })
    }

    /// The piece of this number, if it is among those that changed.
    fn take(&mut self, wanted: u32, piece: &mut [u8]) -> io::Result<bool> {
        if self.next != wanted {
            return Ok(false);
        }
        self.read.read_exact(piece)?;
        let next = number(&mut self.read)?;
        if next <= wanted {
            return Err(invalid("its pieces are out of order"));
        }
        self.next = next;
        Ok(true)
    }

    /// The hash of all that the copy comes to, which stands after the last piece.
    fn end(mut self) -> io::Result<Hash> {
        let mut told = Hash::default();
        if self.next != END {
            return Err(invalid("it has pieces beyond its end"));
        }
        self.read.read_exact(&mut told)?;
        if fill(&mut self.read, &mut [0])? > 0 {
            return Err(invalid("something stands after its end"));
        }
        Ok(told)
    }
}

fn number(read: &mut impl Read) -> io::Result<u32> {
    let mut number = [0; 4];
    read.read_exact(&mut number)?;
    Ok(u32::from_be_bytes(number))
}

/// The pieces of a file of this length: their numbers and sizes.
fn sizes(length: u64) -> impl Iterator<Item = (u32, usize)> {
    let block = BLOCK as u64;
    (0..length.div_ceil(block)).map(move |at| {
        let size = block.min(length - at * block);
        (u32::try_from(at).unwrap_or(END), usize::try_from(size).unwrap_or(BLOCK))
    })
}

/// Fails unless a copy comes to exactly this book, with the whole copy that is remembered where it is none.
pub fn holds(copy: &Path, secret: Option<&Secret>, book: &Path, whole: Option<&Remembered>) -> io::Result<()> {
    let other = || invalid("what was written is not what was copied");
    let mut pages = Pieces::of(book)?;
    let (mut there, mut expected) = ([0; BLOCK], [0; BLOCK]);
    match (content(copy, secret)?, whole) {
        (Content::Whole(mut read), None) => loop {
            let filled = fill(&mut read, &mut there)?;
            let expected = pages.next(&mut expected)?.unwrap_or_default();
            if there[..filled] != *expected {
                return Err(other());
            }
            if filled == 0 {
                return Ok(());
            }
        },
        (Content::Since(since, read), Some(whole)) if since.whole == whole.name && since.whole_hash == whole.hash => {
            let (mut changed, mut all) = (Changed::of(read)?, Sha256::new());
            for (number, size) in sizes(since.length) {
                let expected = pages.next(&mut expected)?.unwrap_or_default();
                let fits = if changed.take(number, &mut there[..size])? {
                    there[..size] == *expected
                } else {
                    whole.pieces.get(number as usize) == Some(&half(expected)) && expected.len() == size
                };
                if !fits {
                    return Err(other());
                }
                all.update(expected);
            }
            let ends = pages.next(&mut expected)?.is_none();
            if ends && changed.end()? == Hash::from(all.finalize()) { Ok(()) } else { Err(other()) }
        }
        _ => Err(other()),
    }
}

/// Writes what a copy comes to into a new file. Where it has only what changed, the whole one must be given, unpacked.
pub fn unpack(copy: &Path, secret: Option<&Secret>, whole: Option<&Path>, to: &Path) -> io::Result<()> {
    file::make(to)?;
    let made = write_out(copy, secret, whole, to);
    if made.is_err() {
        let _ = std::fs::remove_file(to);
    }
    made
}

fn write_out(copy: &Path, secret: Option<&Secret>, whole: Option<&Path>, to: &Path) -> io::Result<()> {
    let mut out = BufWriter::with_capacity(1 << 18, File::options().write(true).open(to)?);
    match (content(copy, secret)?, whole) {
        (Content::Whole(mut read), _) => {
            io::copy(&mut read, &mut out)?;
        }
        (Content::Since(since, read), Some(whole)) => put_together(&since, read, whole, &mut out)?,
        (Content::Since(since, _), None) => {
            return Err(invalid(format!("it has only what changed since {}, which is not there", since.whole)));
        }
    }
    out.into_inner().map_err(io::IntoInnerError::into_error)?.sync_all()
}

fn put_together(since: &Since, read: Box<dyn Read>, whole: &Path, out: &mut impl Write) -> io::Result<()> {
    let (mut changed, mut pages) = (Changed::of(read)?, Pieces::of(whole)?);
    let (mut of_whole, mut made) = (Sha256::new(), Sha256::new());
    let (mut old, mut piece) = ([0; BLOCK], [0; BLOCK]);
    for (number, size) in sizes(since.length) {
        let old = pages.next(&mut old)?.unwrap_or_default();
        of_whole.update(old);
        let new = if changed.take(number, &mut piece[..size])? { &piece[..size] } else { old };
        if new.len() != size {
            return Err(invalid("a piece of it is missing"));
        }
        made.update(new);
        out.write_all(new)?;
    }
    while let Some(old) = pages.next(&mut old)? {
        of_whole.update(old);
    }
    if Hash::from(of_whole.finalize()) != since.whole_hash {
        return Err(invalid(format!("the whole copy {} is not as it was when this one was made", since.whole)));
    }
    if changed.end()? == Hash::from(made.finalize()) {
        Ok(())
    } else {
        Err(invalid("what it comes to is not what was copied"))
    }
}

#[cfg(test)]
mod tests;
