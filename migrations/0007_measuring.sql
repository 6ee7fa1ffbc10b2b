-- How an area was measured, beside the figure that holds. `parts` is JSON: the figures and outlines it was worked out from,
-- with the distances that were kept and the rules they came from, so that it can be worked out again. `lawn` is the ground
-- before those distances, where any was kept. `metric_area` is an area as it was entered, in ten-thousandths of a square
-- meter. `error` is how far the area may be off either way, with who says so. Areas in hundredths of a square foot. All of it
-- is written with the measurement and, like it, never edited.
ALTER TABLE measurements ADD COLUMN lawn INTEGER CONSTRAINT measurements_lawn CHECK (lawn >= area);
ALTER TABLE measurements ADD COLUMN metric_area INTEGER CONSTRAINT measurements_metric_area CHECK (metric_area > 0);
ALTER TABLE measurements ADD COLUMN parts TEXT CONSTRAINT measurements_parts CHECK (json_valid(parts));
ALTER TABLE measurements ADD COLUMN error INTEGER CONSTRAINT measurements_error CHECK (error > 0);
ALTER TABLE measurements ADD COLUMN error_source TEXT CONSTRAINT measurements_error_source CHECK ((error IS NULL) = (error_source IS NULL));
ALTER TABLE measurements ADD COLUMN error_mark TEXT CONSTRAINT measurements_error_mark CHECK ((error IS NULL) = (error_mark IS NULL));

-- How the soil was dug, and every number of the laboratory's paper. `depth` in hundredths of an inch; acidity in hundredths of
-- a milliequivalent, with of how much soil it was measured; organic matter in hundredths of a percent; lime in millionths of a
-- pound of pure calcium carbonate on 1,000 sq ft. `laboratory_table` names the published table by which this laboratory's
-- numbers may be read. `readings` is a JSON array of the numbers of single nutrients, each with extractant, unit and basis.
ALTER TABLE soil_reports ADD COLUMN depth INTEGER CONSTRAINT soil_reports_depth CHECK (depth >= 0);
ALTER TABLE soil_reports ADD COLUMN tool TEXT;
ALTER TABLE soil_reports ADD COLUMN before_planting INTEGER NOT NULL DEFAULT 0 CONSTRAINT soil_reports_before_planting CHECK (before_planting IN (0, 1));
ALTER TABLE soil_reports ADD COLUMN laboratory_table TEXT;
ALTER TABLE soil_reports ADD COLUMN readings TEXT NOT NULL DEFAULT '[]' CONSTRAINT soil_reports_readings CHECK (json_valid(readings));
ALTER TABLE soil_reports ADD COLUMN buffer_ph INTEGER CONSTRAINT soil_reports_buffer_ph CHECK (buffer_ph BETWEEN 0 AND 1400);
ALTER TABLE soil_reports ADD COLUMN acidity INTEGER CONSTRAINT soil_reports_acidity CHECK (acidity >= 0);
ALTER TABLE soil_reports ADD COLUMN acidity_per TEXT CONSTRAINT soil_reports_acidity_per CHECK ((acidity IS NULL) = (acidity_per IS NULL));
ALTER TABLE soil_reports ADD COLUMN organic_matter INTEGER CONSTRAINT soil_reports_organic_matter CHECK (organic_matter BETWEEN 0 AND 10000);
ALTER TABLE soil_reports ADD COLUMN lime_recommended INTEGER CONSTRAINT soil_reports_lime_recommended CHECK (lime_recommended >= 0);
