"""Tables of the store and the steps from one version to the next.

Keys are time-major: all probes of a moment share a page, so a commit a second dirties one page and not one a probe.
The id of a reading or an action is its *ordinal*: milliseconds since the epoch << 12 | number within the
millisecond, strictly increasing, so that order on disk is the order in which the engine took it.
"""

__all__ = ["MIGRATIONS", "OF_ORDINALS", "SEQUENCE_BITS", "VERSION"]

SEQUENCE_BITS = 12
OF_ORDINALS = ("reading", "action", "vitals", "calibration")
"""Tables whose id is an ordinal: only ever appended to, in the order of their ids."""

_VERSION_1 = """
CREATE TABLE cook (
    id INTEGER PRIMARY KEY,
    name TEXT NOT NULL UNIQUE,
    started_ms INTEGER NOT NULL,
    ended_ms INTEGER,              -- NULL while it runs
    coldside TEXT NOT NULL         -- version that recorded it
);
CREATE TABLE plan (                -- the set-up a cook ran under, from an ordinal on
    cook INTEGER NOT NULL REFERENCES cook,
    from_id INTEGER NOT NULL,
    plan TEXT NOT NULL,            -- JSON of collector.model.plan.Plan
    PRIMARY KEY (cook, from_id)
) WITHOUT ROWID;
CREATE TABLE series (              -- what a source calls a probe; named by the plan
    id INTEGER PRIMARY KEY,
    source TEXT NOT NULL,
    key TEXT NOT NULL,
    UNIQUE (source, key)
);
CREATE TABLE reading (
    id INTEGER PRIMARY KEY,        -- ordinal
    series INTEGER NOT NULL,
    millicelsius INTEGER,          -- raw value; NULL when there is none
    flags INTEGER NOT NULL,        -- quality | reason << 2 | unit << 8 as it came in; screened << 12 | why << 14
    source_ms INTEGER,             -- the probe's own time less the ordinal's; NULL when it did not say
    receipt INTEGER                -- packet id << 32 | CRC-32 of topic and payload, for QoS 1
);
CREATE TABLE action (
    id INTEGER PRIMARY KEY,        -- ordinal
    kind TEXT NOT NULL,
    subject TEXT NOT NULL,
    seconds REAL NOT NULL,
    text TEXT NOT NULL
);
CREATE TABLE alarm_log (
    cook INTEGER NOT NULL REFERENCES cook,
    time_ms INTEGER NOT NULL,
    key TEXT NOT NULL,
    event TEXT NOT NULL,
    before TEXT NOT NULL,
    after TEXT NOT NULL,
    value REAL,
    "limit" REAL,
    message TEXT NOT NULL,
    priority INTEGER NOT NULL,
    PRIMARY KEY (cook, time_ms, key, event)
) WITHOUT ROWID;
CREATE TABLE mark (
    cook INTEGER NOT NULL REFERENCES cook,
    time_ms INTEGER NOT NULL,
    kind TEXT NOT NULL,
    text TEXT NOT NULL,
    PRIMARY KEY (cook, time_ms, kind, text)
) WITHOUT ROWID;
CREATE TABLE trend (               -- derived values every ten seconds
    time_ms INTEGER PRIMARY KEY,
    cook INTEGER NOT NULL,
    row BLOB NOT NULL              -- little-endian float32: grate, spread, zones in the plan's order, then probes
);
"""

_VERSION_2 = """
CREATE TABLE vitals (              -- how a device is heard and how long it will last, once a minute
    id INTEGER PRIMARY KEY,        -- ordinal
    source TEXT NOT NULL,
    rssi INTEGER,                  -- dBm; NULL when not known
    battery REAL,                  -- percent; NULL when the device does not tell
    packets REAL NOT NULL          -- heard a minute, repetitions included
);
"""

_VERSION_3 = """
CREATE TABLE calibration (         -- what each probe showed in a known bath; the action of the same id says when
    id INTEGER PRIMARY KEY,        -- ordinal
    source TEXT NOT NULL,
    key TEXT NOT NULL,
    kind TEXT NOT NULL,            -- ice, boil, together; undo, undo-all: the last is, all are, no longer valid
    reference REAL,                -- degrees Celsius; NULL for undo
    raw REAL,
    sd REAL,                       -- kelvin
    time REAL,                     -- Unix seconds
    line TEXT                      -- JSON of collector.model.calibration.Line that holds from here; NULL: the config's
);
"""

_VERSION_4 = """
CREATE TABLE boot (                -- what was written since the machine started, should its clock prove wrong
    name TEXT PRIMARY KEY,         -- the kernel's random one
    from_ms INTEGER NOT NULL       -- milliseconds since the epoch by the clock of then
) WITHOUT ROWID;
"""

_VERSION_5 = """
CREATE TABLE call (                -- a trouble that somebody is told of until he acknowledges it
    number INTEGER PRIMARY KEY,
    cook INTEGER NOT NULL REFERENCES cook,
    trouble TEXT NOT NULL,
    priority INTEGER NOT NULL,
    began_ms INTEGER NOT NULL,
    rung INTEGER NOT NULL,         -- steps of the ladder taken
    told TEXT NOT NULL,            -- JSON: pairs of person and channel
    held TEXT NOT NULL,            -- JSON: whom quiet hours have kept from being told
    ended_ms INTEGER,              -- NULL while it goes on
    why TEXT NOT NULL
);
CREATE TABLE message (             -- the outbox, and what went out of it
    id TEXT PRIMARY KEY,
    call INTEGER NOT NULL,         -- 0: a test
    rung INTEGER NOT NULL,
    person TEXT NOT NULL,
    channel TEXT NOT NULL,
    word TEXT NOT NULL,            -- raised, again, over, test
    due_ms INTEGER NOT NULL,
    body TEXT NOT NULL,            -- JSON
    state TEXT NOT NULL,           -- waiting, failed (to be tried again), sent, given up
    tries INTEGER NOT NULL,
    error TEXT NOT NULL,
    sent_ms INTEGER,
    cook INTEGER NOT NULL REFERENCES cook
) WITHOUT ROWID;
"""

_VERSION_6 = """
CREATE TABLE identity (            -- by which a server that holds many stores knows this one; one row
    store TEXT PRIMARY KEY
) WITHOUT ROWID;
INSERT INTO identity VALUES (lower(hex(randomblob(16))));
CREATE TABLE moved (               -- what was dated anew, so that a copy elsewhere can follow
    number INTEGER PRIMARY KEY,
    since_ms INTEGER NOT NULL,
    step_ms INTEGER NOT NULL
);
CREATE TABLE settled (             -- cooks of which the server holds everything
    cook INTEGER PRIMARY KEY
);
"""

_VERSION_7 = """
CREATE TABLE extent (              -- where the rows of a cook end; those that have none end where the next begins
    cook INTEGER PRIMARY KEY REFERENCES cook,
    until_ms INTEGER,              -- its readings, actions and vitals lie before; NULL: up to the next cook
    origin TEXT NOT NULL           -- JSON: where it was imported from; empty: recorded here
);
INSERT INTO extent SELECT id, next, '' FROM
    (SELECT id, lead(started_ms) OVER (ORDER BY started_ms) AS next FROM cook) WHERE next IS NOT NULL;
CREATE TABLE numbered (            -- the greatest number a cook was ever given; none is given twice; one row
    cooks INTEGER NOT NULL
);
INSERT INTO numbered SELECT coalesce(max(id), 0) FROM cook;
CREATE TABLE part (                -- of a cook that was merged or split: which engine judged it, from an ordinal on
    cook INTEGER NOT NULL REFERENCES cook,
    from_id INTEGER NOT NULL,
    began_ms INTEGER NOT NULL,     -- that engine began then; before from_id, where the rows are another cook's now
    readings INTEGER NOT NULL,     -- so many it had taken before from_id
    PRIMARY KEY (cook, from_id)
) WITHOUT ROWID;
CREATE TABLE tag (
    cook INTEGER NOT NULL REFERENCES cook,
    tag TEXT NOT NULL,
    PRIMARY KEY (cook, tag)
) WITHOUT ROWID;
CREATE TABLE note (
    number INTEGER PRIMARY KEY,
    cook INTEGER NOT NULL REFERENCES cook,
    time_ms INTEGER NOT NULL,      -- written then
    text TEXT NOT NULL
);
CREATE TABLE photo (
    number INTEGER PRIMARY KEY,
    cook INTEGER NOT NULL REFERENCES cook,
    time_ms INTEGER NOT NULL,      -- put on record then
    kind TEXT NOT NULL,            -- jpeg, png
    name TEXT NOT NULL,            -- of the file it came from
    text TEXT NOT NULL,
    bytes BLOB NOT NULL
);
CREATE TABLE edit (                -- what was changed of the record afterwards, by whom this machine's user is
    number INTEGER PRIMARY KEY,
    time_ms INTEGER NOT NULL,
    kind TEXT NOT NULL,            -- of collector.store.keepsake.EditKind
    cook INTEGER NOT NULL,         -- its number, though there may be no such cook any more
    other INTEGER,                 -- the cook that went into it, or came out of it
    name TEXT NOT NULL,            -- of the cook before
    text TEXT NOT NULL,            -- what was done, in words
    from_id INTEGER,               -- rows came, or went, from this ordinal on
    until_id INTEGER               -- and before this one
);
CREATE TABLE going (               -- rows of cooks that were deleted, as far as they are still there
    from_id INTEGER PRIMARY KEY,
    until_id INTEGER NOT NULL
);
CREATE TABLE elsewhere (           -- calibrations of imported cooks: they say nothing of the probes here
    id INTEGER PRIMARY KEY
);
"""

_VERSION_8 = """
CREATE TABLE sealed (              -- an hour of an ended cook; its readings are in no row of `reading`
    first_id INTEGER PRIMARY KEY,  -- ordinal of its first reading
    last_id INTEGER NOT NULL,      -- and of its last: no other reading lies between
    readings INTEGER NOT NULL,
    bytes BLOB NOT NULL            -- as collector.store.sealed writes it
);
"""

MIGRATIONS: tuple[str, ...] = (
    _VERSION_1, _VERSION_2, _VERSION_3, _VERSION_4, _VERSION_5, _VERSION_6, _VERSION_7, _VERSION_8,
)  # fmt: skip
"""Script number k takes a store from version k to k + 1."""

VERSION = len(MIGRATIONS)
