-- What kind of ground a property is, who does the work there, and the day of the written nutrient plan for it: several laws ask.
-- All three are what the dated entries come to; entries from before this do not name them, and mean a lawn that is worked for
-- hire without a plan. No kind means that nobody knows it.
ALTER TABLE properties ADD COLUMN kind TEXT DEFAULT 'lawn' CONSTRAINT properties_kind
    CHECK (kind IN ('lawn', 'athletic_field', 'golf_course', 'public_ground', 'farm', 'garden', 'sod_farm'));
ALTER TABLE properties ADD COLUMN worked_by TEXT NOT NULL DEFAULT 'professional' CONSTRAINT properties_worked_by
    CHECK (worked_by IN ('professional', 'own_ground', 'household'));
ALTER TABLE properties ADD COLUMN nutrient_plan_on TEXT;

-- After how many months since its last reading a rule set is to be read again.
ALTER TABLE settings ADD COLUMN rule_sets_months INTEGER NOT NULL DEFAULT 12 CONSTRAINT settings_rule_sets_months
    CHECK (rule_sets_months BETWEEN 1 AND 120);
