-- A label. What it guarantees (`label`, the JSON that the API shows) is never edited: another label is another product,
-- so that a record keeps the analysis it was made with. Only the status changes. Weights in millionths of a pound.
CREATE TABLE products (
    seq        INTEGER NOT NULL PRIMARY KEY AUTOINCREMENT,
    id         TEXT    NOT NULL CONSTRAINT products_id UNIQUE,
    name       TEXT    NOT NULL,
    label      TEXT    NOT NULL,
    net_weight INTEGER NOT NULL CONSTRAINT products_net_weight CHECK (net_weight > 0),
    status     TEXT    NOT NULL CONSTRAINT products_status CHECK (status IN ('active', 'hold', 'retired')),
    version    INTEGER NOT NULL,
    created_at INTEGER NOT NULL
) STRICT;
CREATE TRIGGER products_keep BEFORE UPDATE OF id, label, net_weight ON products
BEGIN SELECT RAISE(ABORT, 'a label is never edited'); END;

-- A delivery of a product.
CREATE TABLE lots (
    seq         INTEGER NOT NULL PRIMARY KEY AUTOINCREMENT,
    id          TEXT    NOT NULL CONSTRAINT lots_id UNIQUE,
    product_id  TEXT    NOT NULL CONSTRAINT lots_product REFERENCES products (id),
    lot_number  TEXT    NOT NULL,
    supplier    TEXT    NOT NULL,
    received_on TEXT    NOT NULL,
    created_at  INTEGER NOT NULL,
    CONSTRAINT lots_number UNIQUE (product_id, lot_number)
) STRICT;

-- Product in (positive) and out (negative), in millionths of a pound. Stock is always their sum, never a typed total.
-- `record_id` is the application or the correction that moved it.
CREATE TABLE stock_movements (
    seq         INTEGER NOT NULL PRIMARY KEY AUTOINCREMENT,
    id          TEXT    NOT NULL CONSTRAINT stock_movements_id UNIQUE,
    product_id  TEXT    NOT NULL CONSTRAINT stock_movements_product REFERENCES products (id),
    lot_id      TEXT    CONSTRAINT stock_movements_lot REFERENCES lots (id),
    kind        TEXT    NOT NULL CONSTRAINT stock_movements_kind
                        CHECK (kind IN ('received', 'applied', 'returned', 'spilled', 'disposed', 'counted', 'corrected')),
    mass        INTEGER NOT NULL,
    moved_on    TEXT    NOT NULL,
    person_id   TEXT    NOT NULL CONSTRAINT stock_movements_person REFERENCES people (id),
    record_id   TEXT,
    reason      TEXT,
    recorded_at INTEGER NOT NULL
) STRICT;
CREATE INDEX stock_movements_by_product ON stock_movements (product_id, seq);
CREATE INDEX stock_movements_by_record ON stock_movements (record_id) WHERE record_id IS NOT NULL;
CREATE INDEX stock_movements_by_lot ON stock_movements (lot_id) WHERE lot_id IS NOT NULL;

-- The sum of each product's movements, kept by the trigger below alone: every record asks for it, and adding up a hundred
-- thousand movements each time would be felt. `swardbook verify` holds it against the movements.
CREATE TABLE stock_totals (
    product_id TEXT    NOT NULL PRIMARY KEY CONSTRAINT stock_totals_product REFERENCES products (id),
    mass       INTEGER NOT NULL
) STRICT, WITHOUT ROWID;
CREATE TRIGGER stock_movements_total AFTER INSERT ON stock_movements BEGIN
    INSERT INTO stock_totals (product_id, mass) VALUES (new.product_id, new.mass)
    ON CONFLICT (product_id) DO UPDATE SET mass = mass + excluded.mass;
END;

CREATE TRIGGER lots_keep BEFORE UPDATE ON lots BEGIN SELECT RAISE(ABORT, 'lots are never edited'); END;
CREATE TRIGGER lots_stay BEFORE DELETE ON lots BEGIN SELECT RAISE(ABORT, 'lots are never deleted'); END;
CREATE TRIGGER stock_movements_keep BEFORE UPDATE ON stock_movements BEGIN SELECT RAISE(ABORT, 'stock movements are never edited'); END;
CREATE TRIGGER stock_movements_stay BEFORE DELETE ON stock_movements BEGIN SELECT RAISE(ABORT, 'stock movements are never deleted'); END;
