-- What an instrument that failed makes doubtful of what was kept.

-- One look back at the records that rest on an instrument. Times are RFC 3339, of the
-- clocks of instruments; blank where they are not known.
CREATE TABLE lookback (
	leaf       INTEGER PRIMARY KEY,
	made       TEXT NOT NULL,
	by_whom    TEXT NOT NULL,    -- who looked back; may be blank
	instrument TEXT NOT NULL,
	good       TEXT NOT NULL,    -- the last good proof before the failure
	earliest   TEXT NOT NULL,    -- the failure began between these two
	latest     TEXT NOT NULL,
	found      TEXT NOT NULL,    -- when it was seen
	reason     TEXT NOT NULL     -- what is wrong with the instrument
);

-- What a look back says of a version; the newest mark for an instrument counts.
CREATE TABLE mark (
	leaf     INTEGER PRIMARY KEY,
	lookback INTEGER NOT NULL REFERENCES lookback,
	version  INTEGER NOT NULL REFERENCES version,
	doubt    TEXT NOT NULL       -- certain, in doubt
);
CREATE INDEX mark_version ON mark (version, leaf);
