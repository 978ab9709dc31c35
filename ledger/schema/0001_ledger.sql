-- The ledger. Statements end with a semicolon at the end of a line, and are read by
-- SQLite and PostgreSQL alike: SQLite takes BYTEA for what is put in. What stands
-- behind "sqlite:" in a comment is for SQLite alone.
--
-- leaf is a row's place in the Merkle tree and its number. Times named made are RFC
-- 3339 in UTC, of the clock of the machine that wrote; started, ended, at and the
-- like are whole seconds since 1970-01-01T00:00:00Z, of the clocks of instruments.
-- Rows are only added, but for ledger.leaves and ledger.longest, which grow, and the
-- last tile of each level, which fills up.

CREATE TABLE ledger (
	leaf     INTEGER PRIMARY KEY, -- always 0
	origin   TEXT NOT NULL,       -- the ledger's name, in its checkpoints
	verifier TEXT NOT NULL,       -- public key: origin+hash+key
	made     TEXT NOT NULL,
	leaves   BIGINT NOT NULL,     -- how many leaves the tree has
	longest  BIGINT NOT NULL      -- seconds that the longest version lasts
);

-- The hashes of the tree, 32 bytes each, up to 256 a row. Level 0 is that of the
-- leaves, level 1 that of the roots over 256 leaves, and so on.
CREATE TABLE tile (
	level  INTEGER NOT NULL,
	number INTEGER NOT NULL,
	hashes BYTEA NOT NULL,
	PRIMARY KEY (level, number)
);

-- A checkpoint for each transaction, signed (C2SP tlog-checkpoint).
CREATE TABLE checkpoint (
	leaves INTEGER PRIMARY KEY,
	made   TEXT NOT NULL,
	note   TEXT NOT NULL
);

-- Files as they came, each once.
CREATE TABLE content (
	leaf   INTEGER PRIMARY KEY,
	sha256 BYTEA NOT NULL UNIQUE,
	size   BIGINT NOT NULL,  -- bytes
	packed BYTEA NOT NULL,   -- SHA-256 over all parts as they are kept
	parts  INTEGER NOT NULL
);

-- A file's bytes, 4 MiB a part, each a zstd frame (RFC 8878).
CREATE TABLE content_part (
	content INTEGER NOT NULL REFERENCES content,
	part    INTEGER NOT NULL, -- from 0
	packed  BYTEA NOT NULL,
	PRIMARY KEY (content, part)
);

-- One call of ingest.
CREATE TABLE upload (
	leaf   INTEGER PRIMARY KEY,
	made   TEXT NOT NULL,
	by_whom TEXT NOT NULL,         -- who handed it in
	zone   TEXT NOT NULL,          -- of times without an offset; blank if none was given
	digest BYTEA NOT NULL UNIQUE   -- SHA-256 over zone and files, by role, name and content
);

CREATE TABLE upload_file (
	upload  INTEGER NOT NULL REFERENCES upload,
	number  INTEGER NOT NULL, -- from 0, in the order given
	role    TEXT NOT NULL,    -- readings, jobs, instruments, policy, map, jobs-map
	name    TEXT NOT NULL,    -- as it was given
	content INTEGER NOT NULL REFERENCES content,
	PRIMARY KEY (upload, number)
);

-- A record. The same id with other content is a new version.
CREATE TABLE version (
	leaf       INTEGER PRIMARY KEY,
	record     TEXT NOT NULL,
	number     INTEGER NOT NULL,  -- 1 is the first version of the record
	upload     INTEGER NOT NULL REFERENCES upload,
	digest     BYTEA NOT NULL,    -- SHA-256 of the content of the evidence
	evidence   BYTEA NOT NULL,    -- job rows and events, see evidence.go
	copy_key   BIGINT,            -- the same for records that repeat each other's readings; NULL: too few readings
	-- What follows stands in the evidence, and is here to search by.
	started    BIGINT NOT NULL,   -- the first event; without one the job's start, or the time of the upload
	ended      BIGINT NOT NULL,
	readings   INTEGER NOT NULL,  -- how many proofs and dead tests
	site       TEXT NOT NULL,
	technician TEXT NOT NULL,
	UNIQUE (record, number)
);
CREATE INDEX version_started ON version (started);
CREATE INDEX version_technician ON version (technician, started);
CREATE INDEX version_copy_key ON version (copy_key, leaf) WHERE copy_key IS NOT NULL;

-- Which instruments a version names, and when it used each.
CREATE TABLE usage (
	version    INTEGER NOT NULL,
	instrument TEXT NOT NULL,
	role       TEXT NOT NULL,     -- indicator or source
	started    BIGINT NOT NULL,
	ended      BIGINT NOT NULL,
	PRIMARY KEY (version, instrument, role)
) -- sqlite: WITHOUT ROWID
;
CREATE INDEX usage_instrument ON usage (instrument, role, started, ended);

-- The proofs of a version: readings of an indicator on a proving source.
CREATE TABLE proof (
	version   INTEGER NOT NULL,
	number    INTEGER NOT NULL,  -- which event of the version, from 0
	at        BIGINT NOT NULL,
	indicator TEXT NOT NULL,
	source    TEXT NOT NULL,     -- blank if it was not recorded
	expected  DOUBLE PRECISION,  -- volts; NULL if it was not recorded
	volts     DOUBLE PRECISION,  -- NULL if no value was shown
	shown     TEXT NOT NULL,     -- what was printed, or the step
	waveform  TEXT NOT NULL,
	PRIMARY KEY (version, number)
) -- sqlite: WITHOUT ROWID
;

-- One run of the judge over records.
CREATE TABLE judging (
	leaf     INTEGER PRIMARY KEY,
	made     TEXT NOT NULL,
	cause    TEXT NOT NULL,      -- ingest; neighbour: a later upload throws light on a kept record; again
	upload   INTEGER REFERENCES upload,
	policy   INTEGER REFERENCES content, -- the policy file; NULL: the default
	register INTEGER REFERENCES content, -- the instrument register; NULL: none
	map      INTEGER REFERENCES content, -- the column map by which the register is read; NULL: none
	rules    TEXT NOT NULL       -- version of the rules
);

CREATE TABLE judgement (
	leaf     INTEGER PRIMARY KEY,
	judging  INTEGER NOT NULL REFERENCES judging,
	version  INTEGER NOT NULL REFERENCES version,
	status   TEXT NOT NULL,      -- compliant, non-compliant, live
	failed   TEXT NOT NULL,      -- the rules that failed, a blank before and behind each
	findings TEXT NOT NULL       -- JSON, as docs/files.md shows it
);
CREATE INDEX judgement_version ON judgement (version, leaf);
CREATE INDEX judgement_bad ON judgement (version, leaf) WHERE status <> 'compliant';

CREATE TABLE decision (
	leaf      INTEGER PRIMARY KEY,
	made      TEXT NOT NULL,
	by_whom   TEXT NOT NULL,
	version   INTEGER NOT NULL REFERENCES version,
	judgement INTEGER NOT NULL REFERENCES judgement, -- which one was decided on
	kind      TEXT NOT NULL,     -- repeat, accept, coach, store, duplicate
	reason    TEXT NOT NULL
);
CREATE INDEX decision_version ON decision (version);

CREATE TABLE event (
	leaf       INTEGER PRIMARY KEY,
	made       TEXT NOT NULL,
	by_whom    TEXT NOT NULL,
	instrument TEXT NOT NULL,
	word       TEXT NOT NULL,    -- registered, changed, to-store
	detail     TEXT NOT NULL,    -- the row of the register as JSON, or the reason
	cause      INTEGER NOT NULL  -- the leaf of the upload or decision that it came of
);
CREATE INDEX event_instrument ON event (instrument);
