-- Rate, median and ratio of every reading with the sqlite3 shell, in memory:
-- sqlite3 :memory: -cmd '.import --csv FILE readings' < ratio_sqlite.sql > OUT
.mode csv
.headers on
WITH
  rates AS MATERIALIZED (
    SELECT rowid AS line, test_id, cylinder, 60.0 * volume_ml / interval_s AS rate_ml_min FROM readings
  ),
  places AS (
    SELECT test_id, rate_ml_min,
      row_number() OVER (PARTITION BY test_id ORDER BY rate_ml_min) AS place,
      count(*) OVER (PARTITION BY test_id) AS n
    FROM rates
  ),
  medians AS (
    SELECT test_id, avg(rate_ml_min) AS median FROM places
    WHERE place IN ((n + 1) / 2, (n + 2) / 2) GROUP BY test_id
  )
SELECT test_id, cylinder, rate_ml_min, rate_ml_min / median AS ratio_to_median
FROM rates JOIN medians USING (test_id) ORDER BY line;
