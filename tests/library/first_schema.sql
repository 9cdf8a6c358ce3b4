CREATE INDEX clips_by_flac ON clips (flac_sha256);
CREATE INDEX clips_by_machine ON clips (machine);
CREATE INDEX ix_labels_clip ON labels (clip);
CREATE INDEX ix_opinions_clip ON opinions (clip);
CREATE INDEX ix_outcomes_clip ON outcomes (clip);
CREATE INDEX ix_outcomes_machine ON outcomes (machine);
CREATE TABLE alembic_version (
	version_num VARCHAR(32) NOT NULL, 
	CONSTRAINT alembic_version_pkc PRIMARY KEY (version_num)
);
CREATE TABLE clips (
	sha256 VARCHAR(64) NOT NULL, 
	machine VARCHAR(64), 
	name TEXT NOT NULL, 
	size_bytes BIGINT NOT NULL, 
	container TEXT NOT NULL, 
	codec TEXT NOT NULL, 
	rate_hz INTEGER NOT NULL, 
	channels INTEGER NOT NULL, 
	duration_s FLOAT NOT NULL, 
	band_low_hz FLOAT NOT NULL, 
	band_high_hz FLOAT NOT NULL, 
	flac_sha256 VARCHAR(64) NOT NULL, 
	flac_bytes BIGINT NOT NULL, 
	story TEXT NOT NULL, 
	gauges TEXT NOT NULL, 
	said TEXT NOT NULL, 
	answers TEXT NOT NULL, 
	capture TEXT NOT NULL, 
	recorded_at VARCHAR(20), 
	added_at VARCHAR(20) NOT NULL, 
	added_by TEXT NOT NULL, 
	consent VARCHAR(8) NOT NULL, 
	consent_by TEXT NOT NULL, 
	keep_until VARCHAR(20), 
	ticket TEXT NOT NULL, 
	good_by TEXT, 
	good_at VARCHAR(20), 
	complete_by TEXT, 
	complete_at VARCHAR(20), 
	before_clip VARCHAR(64), 
	PRIMARY KEY (sha256), 
	FOREIGN KEY(machine) REFERENCES machines (id), 
	FOREIGN KEY(before_clip) REFERENCES clips (sha256) ON DELETE SET NULL
);
CREATE TABLE labels (
	id INTEGER NOT NULL, 
	clip VARCHAR(64) NOT NULL, 
	sound VARCHAR(32) NOT NULL, 
	onset_s FLOAT NOT NULL, 
	offset_s FLOAT NOT NULL, 
	present BOOLEAN NOT NULL, 
	author TEXT NOT NULL, 
	made_at VARCHAR(20) NOT NULL, 
	replaces INTEGER, 
	withdrawn_at VARCHAR(20), 
	withdrawn_by TEXT, 
	PRIMARY KEY (id), 
	FOREIGN KEY(clip) REFERENCES clips (sha256) ON DELETE CASCADE
);
CREATE TABLE machines (
	id VARCHAR(64) NOT NULL, 
	name TEXT NOT NULL, 
	profile TEXT NOT NULL, 
	place TEXT NOT NULL, 
	note TEXT NOT NULL, 
	added_at VARCHAR(20) NOT NULL, 
	added_by TEXT NOT NULL, 
	PRIMARY KEY (id)
);
CREATE TABLE measures (
	clip VARCHAR(64) NOT NULL, 
	names_sha256 VARCHAR(64) NOT NULL, 
	n_stretches INTEGER NOT NULL, 
	stretches BLOB NOT NULL, 
	n_cells INTEGER NOT NULL, 
	traces BLOB NOT NULL, 
	made_at VARCHAR(20) NOT NULL, 
	PRIMARY KEY (clip), 
	FOREIGN KEY(clip) REFERENCES clips (sha256) ON DELETE CASCADE
);
CREATE TABLE opinions (
	id INTEGER NOT NULL, 
	clip VARCHAR(64) NOT NULL, 
	made_at VARCHAR(20) NOT NULL, 
	model_version TEXT NOT NULL, 
	model_sha256 VARCHAR(64) NOT NULL, 
	verdict VARCHAR(16) NOT NULL, 
	level VARCHAR(16) NOT NULL, 
	report TEXT NOT NULL, 
	PRIMARY KEY (id), 
	FOREIGN KEY(clip) REFERENCES clips (sha256) ON DELETE CASCADE
);
CREATE TABLE outcomes (
	id INTEGER NOT NULL, 
	machine VARCHAR(64), 
	clip VARCHAR(64), 
	state VARCHAR(12) NOT NULL, 
	part TEXT NOT NULL, 
	cause TEXT NOT NULL, 
	evidence TEXT NOT NULL, 
	confirmed_by TEXT NOT NULL, 
	confirmed_at VARCHAR(20) NOT NULL, 
	ticket TEXT NOT NULL, 
	PRIMARY KEY (id), 
	FOREIGN KEY(machine) REFERENCES machines (id), 
	FOREIGN KEY(clip) REFERENCES clips (sha256) ON DELETE SET NULL
);
CREATE TABLE removals (
	sha256 VARCHAR(64) NOT NULL, 
	PRIMARY KEY (sha256)
);
CREATE TABLE tombstones (
	sha256 VARCHAR(64) NOT NULL, 
	deleted_at VARCHAR(20) NOT NULL, 
	deleted_by TEXT NOT NULL, 
	why TEXT NOT NULL, 
	PRIMARY KEY (sha256)
);
