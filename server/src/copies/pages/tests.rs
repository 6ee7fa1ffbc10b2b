use super::*;

struct Folder(tempfile::TempDir);

impl Folder {
    fn new() -> Self {
        Self(tempfile::tempdir().expect("a folder"))
    }

    fn at(&self, name: &str) -> std::path::PathBuf {
        self.0.path().join(name)
    }

    /// A file that begins as a book does, with a page for each number.
    fn book(&self, name: &str, pages: &[u8]) -> std::path::PathBuf {
        let mut bytes: Vec<u8> = pages.iter().flat_map(|fill| [*fill; BLOCK]).collect();
        bytes[..SQLITE.len()].copy_from_slice(SQLITE);
        std::fs::write(self.at(name), bytes).expect("written");
        self.at(name)
    }
}

const WHOLE: &str = "swardbook-0a1b2c3d-20260915T060000Z.db.zst";

fn said(result: io::Result<()>) -> String {
    result.expect_err("refused").to_string()
}

#[test]
fn what_changed_and_the_whole_copy_come_to_the_book_byte_for_byte() {
    let folder = Folder::new();
    let first = folder.book("first.db", &[1, 2, 3, 4, 5, 6, 7, 8]);
    let whole = Remembered::of(&first, WHOLE.to_owned()).expect("remembered");
    let (packed, unpacked) = (folder.at("whole.zst"), folder.at("whole.db"));
    pack(&first, None, &[], &packed).expect("packed");
    holds(&packed, None, &first, None).expect("whole");
    unpack(&packed, None, None, &unpacked).expect("unpacked");
    let key = Secret::make();
    // Longer, shorter, the same, a page changed at the beginning, in the middle, at the end.
    for (number, pages) in
        [&[1, 2, 3, 4, 5, 6, 7, 8, 9, 10][..], &[1, 2, 3], &[1, 2, 3, 4, 5, 6, 7, 8], &[9, 2, 3, 9, 5, 6, 7, 9], &[1]]
            .into_iter()
            .enumerate()
    {
        for keys in [&[][..], &[key.public()]] {
            let name = format!("{number}-{}", keys.len());
            let book = folder.book(&format!("{name}.db"), pages);
            let (copy, back) = (folder.at(&format!("{name}.zst")), folder.at(&format!("{name}.back")));
            pack(&book, Some(&whole), keys, &copy).expect("packed");
            let secret = (!keys.is_empty()).then_some(&key);
            holds(&copy, secret, &book, Some(&whole)).expect("holds");
            assert_eq!(goes_with(&copy, secret).expect("read").as_deref(), Some(WHOLE));
            unpack(&copy, secret, Some(&unpacked), &back).expect("unpacked");
            assert!(std::fs::read(&book).expect("read") == std::fs::read(&back).expect("read"), "{name}");
            assert!(unpack(&copy, secret, Some(&unpacked), &back).is_err(), "never over a file");
        }
    }
    let far = folder.book("far.db", &[1, 9, 9, 9, 9, 9, 7, 8]);
    assert!(whole.is_far_from(&far).expect("compared"));
    assert!(!whole.is_far_from(&first).expect("compared"));
}

#[test]
fn a_copy_that_is_not_what_was_copied_does_not_hold() {
    let folder = Folder::new();
    let (first, later) = (folder.book("first.db", &[1, 2, 3]), folder.book("later.db", &[1, 7, 3]));
    let whole = Remembered::of(&first, WHOLE.to_owned()).expect("remembered");
    pack(&later, Some(&whole), &[], &folder.at("later.zst")).expect("packed");
    pack(&later, None, &[], &folder.at("all.zst")).expect("packed");
    for other in [&[1, 7, 4][..], &[1, 7], &[1, 7, 3, 4], &[2, 7, 3]] {
        let other = folder.book("other.db", other);
        assert!(holds(&folder.at("later.zst"), None, &other, Some(&whole)).is_err());
        assert!(holds(&folder.at("all.zst"), None, &other, None).is_err());
    }
    assert!(holds(&folder.at("all.zst"), None, &later, Some(&whole)).is_err(), "one is not the other");
    assert!(holds(&folder.at("later.zst"), None, &later, None).is_err());
    // A bit of it changed, wherever that is, or its end missing.
    let bytes = std::fs::read(folder.at("later.zst")).expect("read");
    for at in 0..bytes.len() {
        let mut odd = bytes.clone();
        odd[at] ^= 4;
        std::fs::write(folder.at("odd.zst"), odd).expect("written");
        // What only says how much memory may be taken changes nothing.
        if holds(&folder.at("odd.zst"), None, &later, Some(&whole)).is_ok() {
            unpack(&folder.at("odd.zst"), None, Some(&first), &folder.at("odd.db")).expect("unpacked");
            assert!(
                std::fs::read(folder.at("odd.db")).expect("read") == std::fs::read(&later).expect("read"),
                "at {at}"
            );
            std::fs::remove_file(folder.at("odd.db")).expect("removed");
        }
        std::fs::write(folder.at("cut.zst"), &bytes[..at]).expect("written");
        assert!(holds(&folder.at("cut.zst"), None, &later, Some(&whole)).is_err(), "cut at {at}");
    }
}

#[test]
fn another_whole_copy_a_missing_one_and_what_is_no_copy_are_told() {
    let folder = Folder::new();
    let (first, later) = (folder.book("first.db", &[1, 2]), folder.book("later.db", &[1, 7]));
    let whole = Remembered::of(&first, WHOLE.to_owned()).expect("remembered");
    let (copy, to) = (folder.at("later.zst"), folder.at("made.db"));
    pack(&later, Some(&whole), &[], &copy).expect("packed");
    assert!(said(unpack(&copy, None, None, &to)).contains(WHOLE));
    let other = folder.book("other.db", &[1, 3]);
    assert!(said(unpack(&copy, None, Some(&other), &to)).contains("is not as it was"));
    assert!(!to.exists(), "nothing half made is left");
    std::fs::write(folder.at("text"), b"Records of 2026, in plain words and long enough for a head\n")
        .expect("written");
    assert!(said(unpack(&folder.at("text"), None, None, &to)).contains("no copy of records"));
    let pressed = zstd::encode_all(&b"Records of 2026, in plain words\n"[..], 1).expect("pressed");
    std::fs::write(folder.at("pressed"), pressed).expect("written");
    assert!(said(unpack(&folder.at("pressed"), None, None, &to)).contains("holds no records"));
    std::fs::write(folder.at("empty"), b"").expect("written");
    assert!(unpack(&folder.at("empty"), None, None, &to).is_err());
    // A name within a copy leads nowhere else.
    let mut away = whole;
    away.name = "../../etc/passwd".to_owned();
    pack(&later, Some(&away), &[], &folder.at("away.zst")).expect("packed");
    assert!(said(unpack(&folder.at("away.zst"), None, Some(&first), &to)).contains("names no whole copy"));
}
