-- How the company writes on its pages. One row, made here and changed by the owner; each change stands in the journal.
-- Nothing in it changes what is stored or decided: days are stored year first, and amounts in the units of the law.
CREATE TABLE settings (
    id         INTEGER NOT NULL PRIMARY KEY CONSTRAINT settings_one_row CHECK (id = 1),
    date_order TEXT    NOT NULL CONSTRAINT settings_date_order CHECK (date_order IN ('year_month_day', 'month_day_year')),
    version    INTEGER NOT NULL
) STRICT;
INSERT INTO settings (id, date_order, version) VALUES (1, 'year_month_day', 1);
