-- Questions to weather services that failed, by what was asked: a copy from before the failure does not show that nothing has
-- changed since, which a record of that time must know.
CREATE INDEX weather_fetches_failed ON weather_fetches (path, provider, asked_at) WHERE body_sha256 IS NULL;
