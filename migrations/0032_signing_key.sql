-- The key by which receipts of these records are signed: what tells, outside of the file, how far the journal had come at a moment
-- (domain/src/receipt.rs). One row, written when a server first opens the file, together with the journal entry
-- `signing_key.made`, which names the public part. It never changes: a receipt would be worth nothing if the key could be
-- exchanged behind it.
--
-- The secret part stands in the file and nowhere else. Whoever can read the file, or a copy of it, can sign as the company; what
-- a receipt proves all the same is that somebody who had the file signed this head, and the heads that were given away before
-- cannot be taken back.
CREATE TABLE signing_key (
    id         INTEGER NOT NULL PRIMARY KEY CONSTRAINT signing_key_one_row CHECK (id = 1),
    -- Tells these records from all others; copies of them have the same.
    book       TEXT    NOT NULL,
    secret     BLOB    NOT NULL CONSTRAINT signing_key_secret CHECK (length(secret) = 32),
    public     BLOB    NOT NULL CONSTRAINT signing_key_public CHECK (length(public) = 32),
    made_at    INTEGER NOT NULL
) STRICT;
CREATE TRIGGER signing_key_keep BEFORE UPDATE ON signing_key BEGIN SELECT RAISE(ABORT, 'the signing key is never edited'); END;
CREATE TRIGGER signing_key_stay BEFORE DELETE ON signing_key BEGIN SELECT RAISE(ABORT, 'the signing key is never deleted'); END;
