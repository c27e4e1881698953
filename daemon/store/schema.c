/* SPDX-License-Identifier: MIT */
#include "store/schema.h"

#include "model/facts.h"
#include "store/store.h"

/* Comments stand inside the parentheses, so that SQLite keeps them in the stored text: `.schema` is the documentation.
 * Times are ms since 1970 UTC; 'text' columns are UTF-8; numbers of quantities, kinds and states are the enums of
 * model/quantity.h and model/facts.h, which only grow at their ends. */
static const char first_schema[] =
    /* ---- permanent: what cannot be computed again ---- */
    "CREATE TABLE place( -- stations and barometers that ever had a fact\n"
    "  number INTEGER PRIMARY KEY, -- stands in chunks as barometer\n"
    "  key TEXT NOT NULL UNIQUE,   -- id in the settings\n"
    "  first_time INTEGER,         -- first and last reading, NULL before any\n"
    "  last_time INTEGER,\n"
    "  digest INTEGER NOT NULL DEFAULT 0 -- of the settings that shaped the finished values; another one makes all "
    "dirty\n"
    ") STRICT;\n"
    "CREATE TABLE drop_( -- one per content and place, by arrival\n"
    "  number INTEGER PRIMARY KEY, -- rises with arrival: where two drops disagree the higher number wins\n"
    "  sha256 TEXT NOT NULL,\n"
    "  bytes INTEGER NOT NULL,\n"
    "  path BLOB NOT NULL,      -- below the inbox, as first seen, raw bytes\n"
    "  arrived INTEGER NOT NULL,\n"
    "  original TEXT NOT NULL,  -- path below the archive\n"
    "  layout TEXT NOT NULL,    -- id in the settings\n"
    "  evidence TEXT NOT NULL,  -- why it belongs where it belongs\n"
    "  place INTEGER NOT NULL,  -- 0 for notes of several stations\n"
    "  rows INTEGER NOT NULL, refused INTEGER NOT NULL, added INTEGER NOT NULL, repeated INTEGER NOT NULL,\n"
    "  filled INTEGER NOT NULL, disagreed INTEGER NOT NULL,\n"
    "  complaints TEXT NOT NULL -- one line each: line, column, what and cure\n"
    ") STRICT;\n"
    "CREATE UNIQUE INDEX drop_content ON drop_(sha256, place);\n"
    "CREATE INDEX drop_by_place ON drop_(place);\n"
    "CREATE TABLE note( -- what the crew wrote; a later drop replaces a line of the same place, kind, time and "
    "quantity\n"
    "  id INTEGER PRIMARY KEY,\n"
    "  place INTEGER NOT NULL, kind INTEGER NOT NULL, time INTEGER NOT NULL,\n"
    "  quantity INTEGER NOT NULL, -- the count of quantities where the kind has none\n"
    "  until INTEGER,\n"
    "  value REAL, reference REAL, -- inside units, NULL where left empty\n"
    "  text TEXT NOT NULL,\n"
    "  drop_ INTEGER NOT NULL, line INTEGER NOT NULL\n"
    ") STRICT;\n"
    "CREATE UNIQUE INDEX note_key ON note(place, kind, time, quantity);\n"
    "CREATE TABLE alarm( -- an episode's life with people\n"
    "  id INTEGER PRIMARY KEY,\n"
    "  station TEXT NOT NULL, -- station or barometer id, or the path of a drop\n"
    "  rule TEXT NOT NULL,\n"
    "  start INTEGER NOT NULL, raised INTEGER NOT NULL, end_ INTEGER, -- NULL while still so\n"
    "  worst REAL NOT NULL, worst_time INTEGER NOT NULL, last REAL NOT NULL, last_time INTEGER NOT NULL,\n"
    "  detail TEXT NOT NULL,\n"
    "  state INTEGER NOT NULL,\n"
    "  learnt INTEGER NOT NULL, changed INTEGER NOT NULL, sequence INTEGER NOT NULL, is_old_news INTEGER NOT NULL,\n"
    "  shelved_until INTEGER, shelf_reason TEXT NOT NULL, -- stays when it returns: the rule is quiet there until "
    "then\n"
    "  asked INTEGER, told INTEGER, escalated INTEGER, -- since when an answer is waited for; who heard of it when\n"
    "  times INTEGER NOT NULL -- within the chattering window, this one counted\n"
    ") STRICT;\n"
    "CREATE INDEX alarm_by_start ON alarm(station, rule, start);\n"
    "CREATE INDEX alarm_open ON alarm(state) WHERE state IN (0, 1, 2, 4);\n"
    "CREATE INDEX alarm_shelved ON alarm(shelved_until) WHERE shelved_until IS NOT NULL;\n"
    "CREATE INDEX alarm_asked ON alarm(asked) WHERE asked IS NOT NULL;\n"
    "CREATE INDEX alarm_by_learnt ON alarm(learnt);\n"
    "CREATE TABLE alarm_step( -- every step of an alarm, for proof\n"
    "  alarm INTEGER NOT NULL, at INTEGER NOT NULL, who TEXT NOT NULL, what TEXT NOT NULL, state INTEGER NOT NULL\n"
    ") STRICT;\n"
    "CREATE INDEX alarm_step_by_alarm ON alarm_step(alarm, at);\n"
    "CREATE TABLE notice( -- the outbox: one message to one recipient, a snapshot complete by itself\n"
    "  id INTEGER PRIMARY KEY,\n"
    "  uid TEXT NOT NULL UNIQUE, -- the same over all attempts\n"
    "  recipient TEXT NOT NULL, event INTEGER NOT NULL, created INTEGER NOT NULL,\n"
    "  state INTEGER NOT NULL,   -- 0 due, 1 delivered, 2 refused or given up, 3 told by another (group_)\n"
    "  attempts INTEGER NOT NULL, next_try INTEGER NOT NULL /* 2: when that was */, delivered INTEGER, answer TEXT NOT "
    "NULL,\n"
    "  alarm INTEGER NOT NULL, station TEXT NOT NULL, rule TEXT NOT NULL,\n"
    "  start INTEGER NOT NULL, raised INTEGER NOT NULL, end_ INTEGER,\n"
    "  worst REAL, worst_time INTEGER NOT NULL, last REAL, last_time INTEGER NOT NULL, detail TEXT NOT NULL,\n"
    "  alarm_state INTEGER NOT NULL, learnt INTEGER NOT NULL, sequence INTEGER NOT NULL,\n"
    "  priority INTEGER NOT NULL, station_name TEXT NOT NULL, rule_title TEXT NOT NULL, advice TEXT NOT NULL,\n"
    "  rule_kind TEXT NOT NULL, unit TEXT NOT NULL, quantity TEXT NOT NULL,\n"
    "  limit_ REAL, worst_written REAL, last_written REAL, decimals INTEGER NOT NULL, -- in the written unit\n"
    "  utc_offset INTEGER NOT NULL, data_until INTEGER,\n"
    "  body TEXT NOT NULL,       -- of a digest\n"
    "  group_ INTEGER            -- the notice that tells this one, too\n"
    ") STRICT;\n"
    "CREATE INDEX notice_due ON notice(next_try) WHERE state = 0;\n"
    "CREATE INDEX notice_by_alarm ON notice(alarm);\n"
    "CREATE INDEX notice_by_recipient ON notice(recipient, created);\n"
    "CREATE INDEX notice_by_group ON notice(group_) WHERE group_ IS NOT NULL;\n"
    "CREATE TABLE listener( -- what is known of a recipient between two messages\n"
    "  recipient TEXT PRIMARY KEY, -- id in the settings; '' for what is the whole network's\n"
    "  flood_since INTEGER, summary_at INTEGER, -- more alarms than a person can take in: since when, last summary\n"
    "  digest_at INTEGER           -- up to when the last digest told\n"
    ") STRICT, WITHOUT ROWID;\n"
    "CREATE TABLE page( -- one record of a station and month, and whether it must be written again\n"
    "  place INTEGER NOT NULL, month INTEGER NOT NULL, -- year * 12 + month - 1, by the station's standard time\n"
    "  due INTEGER NOT NULL,      -- 1: write it\n"
    "  revision INTEGER NOT NULL, -- of what was last published, 0 before\n"
    "  content TEXT NOT NULL,     -- SHA-256 of the finished values published under that revision\n"
    "  PRIMARY KEY(place, month)\n"
    ") STRICT, WITHOUT ROWID;\n"
    "CREATE INDEX page_due ON page(place) WHERE due = 1;\n"
    /* ---- rebuildable: can be dropped and made again from the above and the originals ---- */
    "CREATE TABLE path( -- what is known of each name in the inbox, so that a scan skips what did not change\n"
    "  path BLOB PRIMARY KEY,\n"
    "  size INTEGER NOT NULL, modified INTEGER NOT NULL, changed INTEGER NOT NULL, -- ns\n"
    "  inode INTEGER NOT NULL, device INTEGER NOT NULL,\n"
    "  state INTEGER NOT NULL,   -- enum drop_state\n"
    "  since INTEGER NOT NULL,   -- in this state\n"
    "  drop_ INTEGER,            -- what it became\n"
    "  attempts INTEGER NOT NULL, -- begun and not ended reads: a drop that ends the process is not read for ever\n"
    "  settings INTEGER NOT NULL, -- digest of the layouts and places when it was set aside: another one means try "
    "again\n"
    "  message TEXT NOT NULL\n"
    ") STRICT, WITHOUT ROWID;\n"
    "CREATE INDEX path_unfinished ON path(state) WHERE state IN (0, 3);\n"
    "CREATE TABLE reading_chunk( -- readings of one place and UTC day: see store/series.c for the bytes\n"
    "  key INTEGER PRIMARY KEY, -- place * 2^20 + days since 1970\n"
    "  bytes BLOB NOT NULL\n"
    ") STRICT;\n"
    "CREATE TABLE record_chunk( -- finished values of one station and UTC day\n"
    "  key INTEGER PRIMARY KEY,\n"
    "  bytes BLOB NOT NULL\n"
    ") STRICT;\n"
    "CREATE TABLE dirty( -- spans that must be derived again\n"
    "  place INTEGER NOT NULL, from_ INTEGER NOT NULL, to_ INTEGER NOT NULL,\n"
    "  PRIMARY KEY(place, from_)\n"
    ") STRICT, WITHOUT ROWID;\n"
    "CREATE TABLE waiting( -- spans with readings whose level waits, and for what\n"
    "  place INTEGER NOT NULL, from_ INTEGER NOT NULL, to_ INTEGER NOT NULL, reason TEXT NOT NULL,\n"
    "  PRIMARY KEY(place, from_)\n"
    ") STRICT, WITHOUT ROWID;\n"
    "CREATE TABLE check_result( -- hand readings and checks held against the record\n"
    "  place INTEGER NOT NULL, time INTEGER NOT NULL, quantity INTEGER NOT NULL, kind INTEGER NOT NULL,\n"
    "  note INTEGER NOT NULL, sensor REAL, reference REAL, difference REAL, is_first INTEGER NOT NULL,\n"
    "  PRIMARY KEY(place, time, quantity, kind)\n"
    ") STRICT, WITHOUT ROWID;\n"
    "CREATE TABLE archive_file( -- what stands in the archive\n"
    "  path TEXT PRIMARY KEY,\n"
    "  place INTEGER NOT NULL, -- 0: of the network\n"
    "  sha256 TEXT NOT NULL, bytes INTEGER NOT NULL\n"
    ") STRICT, WITHOUT ROWID;\n"
    "CREATE INDEX archive_file_by_place ON archive_file(place);\n"
    "CREATE TABLE manifest_due( -- places whose list of fingerprints must be written again; 0: the network's own\n"
    "  place INTEGER PRIMARY KEY\n"
    ") STRICT;\n";

static const char revisions[] =
    /* permanent: the order in which readers were told */
    "CREATE TABLE revision( -- each revision of a record, as it was published\n"
    "  number INTEGER PRIMARY KEY,\n"
    "  place INTEGER NOT NULL, month INTEGER NOT NULL, revision INTEGER NOT NULL, -- as in page\n"
    "  last_time INTEGER,        -- of the last row of the record\n"
    "  arrived INTEGER NOT NULL, -- of the newest drop known then: no clock, so the same facts give the same feed\n"
    "  UNIQUE(place, month, revision)\n"
    ") STRICT;\n";

/* A record is written while more arrives: then the changes since are counted, not lost. Several are written at once:
 * then what readers are told is in an order of facts, not of who was finished first. */
static const char counted_changes[] =
    "DROP INDEX page_due;\n"
    "CREATE INDEX page_due ON page(month DESC, place) WHERE due > 0;\n"
    "CREATE INDEX revision_told ON revision(arrived DESC, month DESC, place, revision DESC);\n";
static const char answers[] =
    /* permanent: who answered what by a file, and what became of it */
    "CREATE TABLE answer_line( -- each line of a file of answers is heard once\n"
    "  id INTEGER PRIMARY KEY,\n"
    "  path BLOB NOT NULL, -- below the inbox\n"
    "  key TEXT NOT NULL,  -- the line's cells, and which one of the same it is\n"
    "  line INTEGER NOT NULL, at INTEGER NOT NULL, who TEXT NOT NULL,\n"
    "  said TEXT NOT NULL, is_given INTEGER NOT NULL,\n"
    "  UNIQUE(path, key)\n"
    ") STRICT;\n"
    "CREATE INDEX answer_line_by_time ON answer_line(at);\n";

static const char rebuilding[] = "CREATE TABLE rebuild_due( -- places that an interrupted rebuild has still to do\n"
                                 "  place INTEGER PRIMARY KEY\n"
                                 ") STRICT;\n";

static const char findings[] =
    /* rebuildable */
    "CREATE TABLE finding( -- what the chain did and saw on the way, in words\n"
    /* The columns of the key come first: elsewise the check of SQLite 3.40 sees NULL where there is none. */
    "  place INTEGER NOT NULL, from_ INTEGER NOT NULL,\n"
    "  kind INTEGER NOT NULL, quantity INTEGER NOT NULL, -- enums; the count of quantities: of all\n"
    "  text TEXT NOT NULL,\n"
    "  to_ INTEGER NOT NULL,\n"
    "  value REAL, uncertainty REAL, -- inside units\n"
    "  wants_hand INTEGER NOT NULL,  -- 1: somebody should look\n"
    "  PRIMARY KEY(place, from_, kind, quantity, text)\n"
    ") STRICT, WITHOUT ROWID;\n";

/* 13 was the count of quantities, and stood for none. */
static const char no_quantity[] = "UPDATE note SET quantity = -1 WHERE quantity = 13;\n";
static const char serials[] =
    /* permanent: a file of an instrument that is noted elsewhere is a finding */
    "ALTER TABLE drop_ ADD COLUMN serial TEXT NOT NULL DEFAULT '';\n"
    "CREATE INDEX drop_by_serial ON drop_(serial COLLATE NOCASE) WHERE serial != '';\n"
    "CREATE INDEX note_instrument ON note(text COLLATE NOCASE, time) WHERE kind = 10;\n";
_Static_assert(NOTE_INSTRUMENT == 10, "stands in the index");
static const char years[] =
    /* rebuildable */
    "CREATE TABLE year_file( -- yearly files, and which records they were made of\n"
    "  path TEXT PRIMARY KEY,\n"
    "  records TEXT NOT NULL -- SHA-256 over the revisions and contents of the months\n"
    ") STRICT, WITHOUT ROWID;\n"
    "CREATE TABLE shown( -- digest of the settings that the pages show: another one makes all pages due\n"
    "  digest INTEGER PRIMARY KEY\n"
    ") STRICT;\n";

static const char reviews[] =
    /* permanent: what people have said, and the rows that they said it of */
    "CREATE TABLE review( -- a person has looked at the record of a station and span\n"
    "  number INTEGER PRIMARY KEY,\n"
    "  place INTEGER NOT NULL, from_ INTEGER NOT NULL, to_ INTEGER NOT NULL,\n"
    "  is_reopening INTEGER NOT NULL, -- 1: it is provisional again\n"
    "  who TEXT NOT NULL, why TEXT NOT NULL, said INTEGER NOT NULL\n"
    ") STRICT;\n"
    "CREATE INDEX review_by_place ON review(place);\n"
    "CREATE TABLE reviewed( -- which of them holds where: the last word said\n"
    "  place INTEGER NOT NULL, from_ INTEGER NOT NULL, to_ INTEGER NOT NULL,\n"
    "  review INTEGER NOT NULL,\n"
    "  is_kept INTEGER NOT NULL, -- 1: its rows stand in reviewed_chunk, and the record is those\n"
    "  PRIMARY KEY(place, from_)\n"
    ") STRICT, WITHOUT ROWID;\n"
    "CREATE TABLE reviewed_chunk( -- finished values as a person saw them; as record_chunk\n"
    "  key INTEGER PRIMARY KEY,\n"
    "  bytes BLOB NOT NULL\n"
    ") STRICT;\n"
    "ALTER TABLE page ADD COLUMN state INTEGER NOT NULL DEFAULT 0; -- enum record_state of what was published\n"
    /* rebuildable */
    "CREATE TABLE held( -- where later facts would change what was reviewed, and how\n"
    "  place INTEGER NOT NULL, from_ INTEGER NOT NULL, to_ INTEGER NOT NULL, reason TEXT NOT NULL,\n"
    "  PRIMARY KEY(place, from_)\n"
    ") STRICT, WITHOUT ROWID;\n";

static const char changes[] =
    /* permanent */
    "ALTER TABLE revision ADD COLUMN changes TEXT NOT NULL DEFAULT ''; -- what it changed and why, lines for people\n"
    "ALTER TABLE revision ADD COLUMN state INTEGER NOT NULL DEFAULT 0; -- as in page\n"
    "ALTER TABLE page ADD COLUMN facts TEXT NOT NULL DEFAULT ''; -- what the published record was made of, lines\n";

static const char ended[] =
    /* rebuildable */
    "CREATE TABLE ended( -- derivations that the program began and did not end: none is tried for ever\n"
    "  place INTEGER NOT NULL, from_ INTEGER NOT NULL, to_ INTEGER NOT NULL,\n"
    "  attempts INTEGER NOT NULL, since INTEGER NOT NULL,\n"
    "  settings INTEGER NOT NULL, -- digest: with others they are tried again\n"
    "  PRIMARY KEY(place, from_)\n"
    ") STRICT, WITHOUT ROWID;\n";

static const char stuck[] =
    /* rebuildable */
    "CREATE TABLE stuck( -- places with a record that ended the program, until one gets through\n"
    "  place INTEGER PRIMARY KEY,\n"
    "  attempts INTEGER NOT NULL, since INTEGER NOT NULL, -- the first of them\n"
    "  settings INTEGER NOT NULL -- digest of those it was tried with\n"
    ") STRICT;\n";

/* 16 was the count of quantities by then, and stood for all. */
static const char all_quantities[] = "UPDATE finding SET quantity = -1 WHERE quantity = 16;\n";

/* Two tables of one kind become one: 0 a derivation, 1 the records of a place, which are of all time. */
static const char unfinished[] =
    /* rebuildable */
    "CREATE TABLE unfinished( -- work that the program began and did not end: none is tried for ever\n"
    "  place INTEGER NOT NULL,\n"
    "  kind INTEGER NOT NULL,    -- enum unfinished_kind\n"
    "  from_ INTEGER NOT NULL, to_ INTEGER NOT NULL, -- of records: of all time\n"
    "  attempts INTEGER NOT NULL,\n"
    "  since INTEGER NOT NULL,   -- the first of them\n"
    "  settings INTEGER NOT NULL, -- digest of those it was tried with: with others it is tried again\n"
    "  is_left_alone INTEGER NOT NULL, -- 1: it was tried often enough\n"
    "  PRIMARY KEY(place, kind, from_)\n"
    ") STRICT, WITHOUT ROWID;\n"
    "INSERT INTO unfinished SELECT place, 0, from_, to_, attempts, since, settings, attempts >= 5 FROM ended;\n"
    "INSERT INTO unfinished SELECT place, 1, -9223372036854775808, 9223372036854775807, attempts, since, settings,"
    " attempts >= 3 FROM stuck;\n"
    "DROP TABLE ended;\n"
    "DROP TABLE stuck;\n";
_Static_assert(UNFINISHED_SPAN == 0 && UNFINISHED_RECORDS == 1, "stand in the migration");

const struct migration schema_migrations[] = {
    {"the first schema", first_schema},
    {"revisions in the order of their publication", revisions},
    {"changes of a record are counted until it is written", counted_changes},
    {"answers to alarms that came as files", answers},
    {"places that a rebuild has still to do", rebuilding},
    {"what the chain did and saw stands in the records", findings},
    {"more quantities: notes about none say so by a number of their own", no_quantity},
    {"which instrument a file is of", serials},
    {"what people have reviewed", reviews},
    {"files of whole years, and the settings that pages show", years},
    {"what a revision changed, and the facts behind a record", changes},
    {"derivations that ended the program", ended},
    {"places with a record that ends the program", stuck},
    {"more quantities: findings about all say so by a number of their own", all_quantities},
    {"work that ended the program stands in one table", unfinished},
};
const size_t schema_migration_count = sizeof schema_migrations / sizeof schema_migrations[0];
