-- What an addition explains, where it explains something that nothing can put right: the office's or the owner's word of why a record
-- came late closes that gap, and stays on the record. The words stand in `personal_texts`, since they may speak of people. An addition
-- that says nothing else has an empty object as what was seen. Nothing for the additions of earlier versions.
ALTER TABLE record_additions ADD COLUMN explains TEXT CONSTRAINT record_additions_explains CHECK (explains IN ('late_entry'));
