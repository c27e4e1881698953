/* SPDX-License-Identifier: MIT */
/* The only memory between two pieces of work: one SQLite database in the state folder, and one writer.
 *
 * Every function returns false with a filled error: SYSTEM for what may pass (disk full, locked), STORAGE for a
 * database that cannot be trusted. Writing functions must stand between store_begin and store_commit, which the
 * pipeline calls; they are one transaction, durable when store_commit returns. Pointers in results live in the arena
 * given. Times in ms UTC; TIME_NONE is stored as NULL. */
#ifndef RILLWARD_STORE_STORE_H
#define RILLWARD_STORE_STORE_H

#include "base/error.h"
#include "base/memory.h"
#include "base/timestamp.h"
#include "model/facts.h"
#include "model/readings.h"
#include "model/record.h"

struct store;

/* Opens or creates `folder`/rillward.db, locks the folder against a second service, brings an older schema up to date.
 * Refuses: a newer schema (CONFIG, untouched), a folder on a network file system (CONFIG), a second service (CONFIG),
 * a damaged file (STORAGE). */
struct store *store_open(const char *folder, struct error *error);
/* For commands beside a running service: no lock, no writing, no migration. */
struct store *store_open_to_read(const char *folder, struct error *error);
/* For people's answers beside a running service: no lock, no migration, but writing; each answer is one small
 * transaction, and the service's and this one's wait for each other. */
struct store *store_open_to_answer(const char *folder, struct error *error);
/* As store_open, for making again what was lost. A damaged file is not refused: it is moved aside, to
 * `folder`/rillward.db.damaged-<now>, and a new one is begun. */
enum store_condition { STORE_SOUND, STORE_NEW, STORE_DAMAGED };
struct store *store_open_to_rebuild(const char *folder, int64_t now, enum store_condition *ret, struct error *error);
void store_close(struct store *store); /* NULL is fine */

bool store_begin(struct store *store, const char *who, struct error *error); /* who: __func__, named when nesting */
/* For many questions that change nothing: the database is locked for reading once, not at each of them, others may
 * write meanwhile, and all answers are of one moment. store_rollback() ends it. */
bool store_begin_to_read(struct store *store, const char *who, struct error *error);
bool store_commit(struct store *store, struct error *error);
void store_rollback(struct store *store); /* fine when nothing is open */
bool store_is_open_transaction(const struct store *store);
/* A mark inside a transaction, and back to it: what was written since is undone, the rest of the transaction stands.
 * One mark at a time, the last. False from store_back_to_mark: nothing stands any more (some errors end a transaction
 * by themselves). */
bool store_mark(struct store *store, struct error *error);
bool store_back_to_mark(struct store *store);
bool store_check_integrity(struct store *store, struct error *error);

/* A whole copy of the database as it is at one moment, beside a running service (backup.c): copied in steps under a
 * temporary name, read back, made durable, then renamed to `target`, which replaces an older copy. One file of mode
 * 0600; put into an empty state folder as rillward.db it is the database. */
struct store_progress {
    void (*tell)(void *context, int done, int total); /* pages; now and then */
    void *context;
};
bool store_backup(struct store *store, const char *target, const struct store_progress *progress, struct error *error);

/* ---- what is kept for a while only (retention.c); within a transaction ---- */
/* At most `most` notices that were made before, are delivered or given up, and whose alarm is over since then. */
bool store_notices_forget(struct store *store, int64_t before, size_t most, size_t *ret_n, struct error *error);
/* Names behind `after` whose file was dealt with before, in their order. */
bool store_names_before(struct store *store, int64_t before, const char *after, size_t most, struct arena *arena,
                        const char ***ret, size_t *ret_n, struct error *error);
bool store_name_forget(struct store *store, const char *path, struct error *error);
/* Outside of a transaction: writes the database anew where a third of it is empty, and at least `least_free` bytes. */
bool store_compact(struct store *store, int64_t least_free, bool *ret_did, struct error *error);

/* ---- places ---- */
struct place_fact {
    uint32_t number;
    const char *key;
    int64_t first_time, last_time; /* readings; TIME_NONE */
    uint64_t digest;
};
/* Number of a key, made when new (needs a transaction then). */
bool store_place_number(struct store *store, const char *key, uint32_t *ret, struct error *error);
/* False without error text when the key is unknown: ret->number is 0. */
bool store_place_find(struct store *store, const char *key, struct arena *arena, struct place_fact *ret,
                      struct error *error);
bool store_place_key(struct store *store, uint32_t number, struct arena *arena, const char **ret, struct error *error);
bool store_place_set_digest(struct store *store, uint32_t place, uint64_t digest, struct error *error);

/* ---- the inbox as last seen, drops, notes ---- */
struct path_fact {
    const char *path;
    int64_t size, modified_ns, changed_ns;
    uint64_t inode, device;
    enum drop_state state;
    int64_t since;
    int64_t drop; /* 0: none */
    int64_t attempts;
    uint64_t settings;
    const char *message; /* never NULL */
};
bool store_path_find(struct store *store, const char *path, struct arena *arena, struct path_fact *ret, bool *ret_found,
                     struct error *error);
bool store_path_put(struct store *store, const struct path_fact *path, struct error *error);
/* What was set aside under this name (NULL: all) is read again at the next look, and its attempts begin anew. */
bool store_paths_retry(struct store *store, const char *path, int64_t *ret_count, struct error *error);
/* Those that wait or were set aside, by path. */
bool store_paths_unfinished(struct store *store, struct arena *arena, struct path_fact **ret, size_t *ret_n,
                            struct error *error);

struct drop_fact_row {
    int64_t number; /* given by store_drop_add */
    const char *sha256, *path, *original, *layout, *evidence, *complaints;
    const char
        *serial; /* of the instrument, as the file names it; "" (or NULL when added) where it names none or several */
    int64_t bytes, arrived;
    uint32_t place; /* 0: several */
    int64_t rows, refused, added, repeated, filled, disagreed;
};
/* The same bytes may be two drops where the path alone says which station they belong to. *ret_number 0: unknown. */
bool store_drop_find(struct store *store, const char *sha256, uint32_t place, int64_t *ret_number, struct error *error);
bool store_drop_is_of_path(struct store *store, const char *sha256, const char *path, int64_t *ret_number,
                           struct error *error);
bool store_drop_load(struct store *store, int64_t number, struct arena *arena, struct drop_fact_row *ret,
                     struct error *error);
bool store_drops_of_place(struct store *store, uint32_t place, struct arena *arena, struct drop_fact_row **ret,
                          size_t *ret_n, struct error *error);
/* The number that the next drop will get: readings carry it before the row is added. */
bool store_drop_next_number(struct store *store, int64_t *ret, struct error *error);
bool store_drop_add(struct store *store, const struct drop_fact_row *drop, struct error *error);

/* The newest of a place, newest first, at most `most`. */
bool store_drops_newest(struct store *store, uint32_t place, size_t most, struct arena *arena,
                        struct drop_fact_row **ret, size_t *ret_n, struct error *error);

/* Adds or replaces by place, kind, time, quantity; ret_changed tells whether anything differs from before. */
bool store_note_put(struct store *store, uint32_t place, const struct note *note, bool *ret_changed,
                    struct error *error);
/* The note that one with this kind, time and quantity would replace. */
bool store_note_find(struct store *store, uint32_t place, const struct note *like, struct arena *arena,
                     struct note *ret, bool *ret_is_found, struct error *error);
/* Notes whose time lies in [from, to), ascending; kinds: bits of enum note_kind. */
bool store_notes_load(struct store *store, uint32_t place, uint32_t kinds, struct span span, struct arena *arena,
                      struct note **ret, size_t *ret_n, struct error *error);
/* The newest of a place, newest first, at most `most`. */
bool store_notes_newest(struct store *store, uint32_t place, size_t most, struct arena *arena, struct note **ret,
                        size_t *ret_n, struct error *error);
/* What notes of drops that arrived at or after `since` say now, the newest drop first, its lines in their order, at
 * most `most`; note.station is set. */
struct noted_fact {
    struct note note;
    const char *path; /* of the drop, below the inbox, raw bytes */
};
bool store_notes_arrived(struct store *store, int64_t since, size_t most, struct arena *arena, struct noted_fact **ret,
                         size_t *ret_n, struct error *error);
/* Time of the last such note before `time` (at or after it, for store_note_after); TIME_NONE without one. */
bool store_note_before(struct store *store, uint32_t place, uint32_t kinds, int64_t time, int64_t *ret,
                       struct error *error);
bool store_note_after(struct store *store, uint32_t place, uint32_t kinds, int64_t time, int64_t *ret,
                      struct error *error);

/* Where field notes have an instrument, but at the place `except`: from each such note to the next of its kind there.
 */
struct instrument_fact {
    const char *key; /* of the place */
    uint32_t place;
    struct span span;
};
bool store_instruments_noted(struct store *store, const char *name, uint32_t except, struct arena *arena,
                             struct instrument_fact **ret, size_t *ret_n, struct error *error);
/* Places with a drop whose file names this serial number. */
bool store_places_of_serial(struct store *store, const char *serial, struct arena *arena, uint32_t **ret, size_t *ret_n,
                            struct error *error);

/* ---- series: cost follows the days touched ---- */
bool store_readings_load(struct store *store, uint32_t place, struct span span, struct arena *arena,
                         struct readings *ret, struct error *error);
/* Replace the days that `readings` touches; it must hold all rows of those days. Keeps first and last time. */
bool store_readings_save(struct store *store, uint32_t place, const struct readings *readings, struct error *error);
/* Nearest reading time before / at-or-after `time`; TIME_NONE. */
bool store_reading_before(struct store *store, uint32_t place, int64_t time, int64_t *ret, struct error *error);
bool store_reading_after(struct store *store, uint32_t place, int64_t time, int64_t *ret, struct error *error);

/* Finished values are kept rounded to the decimals they are published with, so what rules see is what readers see.
 * record_round applies the same rounding in memory. What no sensor gives (from 2^31 steps of the last decimal on) is
 * missing. */
void record_round(struct record *record);
/* Bytes of the days that the span touches, as they are stored. */
bool store_record_size(struct store *store, uint32_t place, struct span span, int64_t *ret, struct error *error);
bool store_record_load(struct store *store, uint32_t place, struct span span, struct arena *arena, struct record *ret,
                       struct error *error);
/* Replace the rows in `span` by `record`'s (all within span). */
bool store_record_save(struct store *store, uint32_t place, struct span span, const struct record *record,
                       struct error *error);

/* ---- dirty and waiting spans, checks ---- */
bool store_dirty_add(struct store *store, uint32_t place, struct span span, struct error *error);
/* A dirty span, the freshest first; ret_place 0 when there is none. */
bool store_dirty_next(struct store *store, uint32_t *ret_place, struct span *ret, struct error *error);
bool store_dirty_remove(struct store *store, uint32_t place, struct span span, struct error *error);
bool store_dirty_count(struct store *store, int64_t *ret, struct error *error);

/* ---- work that ended the program ---- */
/* What the program began and did not end is counted, and after so many attempts in a row it is left alone until the
 * settings change or somebody says so (store_unfinished_retry). By kind:
 *
 * UNFINISHED_SPAN: a derivation. Its span becomes shorter with the attempts; at last the piece in hand alone is left
 * alone, and what is around it goes on.
 *
 * UNFINISHED_RECORDS: records that were written. Counted by place, of all time, until one of the place's gets through.
 * When they are left alone, the functions that say what is due leave the place's records and pages out, and all that is
 * due stays due; values and alarms go on. */
enum unfinished_kind { UNFINISHED_SPAN, UNFINISHED_RECORDS, UNFINISHED_KIND_COUNT }; /* stands in the database */
enum { UNFINISHED_SPAN_MOST = 5, UNFINISHED_RECORDS_MOST = 3 };                      /* attempts */
#define UNFINISHED_ALL ((struct span){TIME_NONE, TIME_FOREVER})                      /* the span of records */
struct unfinished {
    uint32_t place;
    const char *key; /* of the place; NULL where it was found by its place */
    struct span span;
    int64_t attempts, since; /* ms UTC: the first of them */
    bool is_left_alone;
};
/* One more that was begun and not ended. What stood there of the same stretch becomes this. ret_attempts: of it so far;
 * 0: a span that is derived after all, nothing to count. Within a transaction, as the others. */
bool store_unfinished_add(struct store *store, enum unfinished_kind kind, uint32_t place, struct span span, int64_t now,
                          uint64_t settings, int64_t *ret_attempts, struct error *error);
/* The one with most attempts that touches the span; attempts 0: none. */
bool store_unfinished_find(struct store *store, enum unfinished_kind kind, uint32_t place, struct span span,
                           struct unfinished *ret, struct error *error);
/* It got through: what is behind its beginning is no more to blame. What is left alone stays so. */
bool store_unfinished_done(struct store *store, enum unfinished_kind kind, uint32_t place, struct span span,
                           struct error *error);
/* Those of other settings are forgotten, and spans are dirty again; those of all settings with 0. ret_counts: by kind,
 * how many were left alone. */
bool store_unfinished_retry(struct store *store, uint64_t settings, int64_t ret_counts[UNFINISHED_KIND_COUNT],
                            struct error *error);
/* In order of their keys, also those with fewer attempts. */
bool store_unfinished_load(struct store *store, enum unfinished_kind kind, struct arena *arena, struct unfinished **ret,
                           size_t *ret_n, struct error *error);

struct waiting_span {
    uint32_t place;
    const char *key; /* of the place */
    struct span span;
    const char *reason;
};
/* What waits inside `span` is now this. */
bool store_waiting_replace(struct store *store, uint32_t place, struct span span, const struct waiting_span *list,
                           size_t n, struct error *error);
/* All of a place, or of every place with place 0. */
bool store_waiting_load(struct store *store, uint32_t place, struct arena *arena, struct waiting_span **ret,
                        size_t *ret_n, struct error *error);
bool store_checks_replace(struct store *store, uint32_t place, struct span span, const struct check_result *list,
                          size_t n, struct error *error);
bool store_checks_load(struct store *store, uint32_t place, struct span span, struct arena *arena,
                       struct check_result **ret, size_t *ret_n, struct error *error);
/* Those of trends (CHECK_TWINS and on) are kept beside the others: store_checks_replace leaves them alone, and these
 * see nothing else. store_checks_load gives both. */
bool store_trends_replace(struct store *store, uint32_t place, struct span span, const struct check_result *list,
                          size_t n, struct error *error);
bool store_trends_load(struct store *store, uint32_t place, struct span span, struct arena *arena,
                       struct check_result **ret, size_t *ret_n, struct error *error);
/* The newest of a place, trends left out, newest first, at most `most`. */
bool store_checks_newest(struct store *store, uint32_t place, size_t most, struct arena *arena,
                         struct check_result **ret, size_t *ret_n, struct error *error);

/* Of these kinds (bits), what is known inside `span` is now what `list` has there: other kinds in the list are passed
 * over, the rest is cut to the span, which is at most 100 days long. */
bool store_findings_replace(struct store *store, uint32_t place, uint32_t kinds, struct span span,
                            const struct finding *list, size_t n, struct error *error);
/* Those that touch `span`, cut to it; by kind, quantity, then time. What was kept in pieces comes as one. */
bool store_findings_load(struct store *store, uint32_t place, struct span span, struct arena *arena,
                         struct finding **ret, size_t *ret_n, struct error *error);

/* ---- what people have reviewed ---- */
/* One thing that somebody said of a station and span; the last word holds. */
struct review_fact {
    int64_t number; /* given by store_review_add */
    uint32_t place;
    struct span span;
    bool is_reopening; /* provisional again */
    const char *who, *why;
    int64_t said;
};
/* From now on it holds in its span, and what was kept there of an earlier word is forgotten; the caller marks the span
 * dirty, and what is derived then is what was reviewed. */
bool store_review_add(struct store *store, struct review_fact *review, struct error *error);
/* Every word said of a place, newest first, at most `most`. */
bool store_reviews_newest(struct store *store, uint32_t place, size_t most, struct arena *arena,
                          struct review_fact **ret, size_t *ret_n, struct error *error);

/* Where a review holds. */
struct reviewed_span {
    struct span span;
    int64_t review; /* number */
    bool is_kept;   /* its rows are kept, and nothing but a person's word changes them */
    const char *who, *why;
    int64_t said;
};
/* Those that touch [from, to), ascending. */
bool store_reviewed_load(struct store *store, uint32_t place, struct span span, struct arena *arena,
                         struct reviewed_span **ret, size_t *ret_n, struct error *error);
/* The rows of `span` are kept now. It lies within one reviewed span. */
bool store_reviewed_keep(struct store *store, uint32_t place, struct span span, struct error *error);
/* No review holds in `span` any more, though nobody said so: there is nothing in it. */
bool store_reviewed_cut(struct store *store, uint32_t place, struct span span, struct error *error);
/* Rows as they were reviewed; as store_record_load and _save. */
bool store_reviewed_rows_load(struct store *store, uint32_t place, struct span span, struct arena *arena,
                              struct record *ret, struct error *error);
bool store_reviewed_rows_save(struct store *store, uint32_t place, struct span span, const struct record *record,
                              struct error *error);
/* Where later facts would change what was reviewed: as the spans that wait. */
bool store_held_replace(struct store *store, uint32_t place, struct span span, const struct waiting_span *list,
                        size_t n, struct error *error);
bool store_held_load(struct store *store, uint32_t place, struct arena *arena, struct waiting_span **ret, size_t *ret_n,
                     struct error *error);

/* ---- alarms and the outbox ---- */
/* Of a station and rule, whose episode touches [from, to] and which may still change or be matched; ascending start. */
bool store_alarms_touching(struct store *store, const char *station, const char *rule, struct span span,
                           struct arena *arena, struct alarm **ret, size_t *ret_n, struct error *error);
/* Active, or returned and not acknowledged. */
bool store_alarms_open(struct store *store, struct arena *arena, struct alarm **ret, size_t *ret_n,
                       struct error *error);
bool store_alarms_of_rule(struct store *store, const char *rule, struct arena *arena, struct alarm **ret, size_t *ret_n,
                          struct error *error); /* open ones only, any station */
/* Of a station (or barometer, or path), any rule and state, whose episode touches [from, to); newest start first, at
 * most `most`. */
bool store_alarms_of_station(struct store *store, const char *station, struct span span, size_t most,
                             struct arena *arena, struct alarm **ret, size_t *ret_n, struct error *error);
/* Those with a shelf, also where its time is over; the first to end first. */
bool store_alarms_shelved(struct store *store, struct arena *arena, struct alarm **ret, size_t *ret_n,
                          struct error *error);
/* Those whose answer people are asked for, the longest first. */
bool store_alarms_asked(struct store *store, struct arena *arena, struct alarm **ret, size_t *ret_n,
                        struct error *error);
/* Learnt of in [from, to), any state, in that order. */
bool store_alarms_learnt(struct store *store, struct span span, struct arena *arena, struct alarm **ret, size_t *ret_n,
                         struct error *error);
bool store_alarm_find(struct store *store, int64_t id, struct arena *arena, struct alarm *ret, bool *ret_found,
                      struct error *error);
/* Begun in [from, to), but for withdrawn ones. */
bool store_alarms_count(struct store *store, const char *station, const char *rule, struct span span, int64_t *ret,
                        struct error *error);
struct shelf_fact {
    int64_t until; /* TIME_NONE: none is in force */
    const char *reason;
};
bool store_shelf_find(struct store *store, const char *station, const char *rule, int64_t now, struct arena *arena,
                      struct shelf_fact *ret, struct error *error);
struct step_fact {
    int64_t at;
    const char *who, *what;
    enum alarm_state state; /* after it */
};
bool store_alarm_steps(struct store *store, int64_t alarm, struct arena *arena, struct step_fact **ret, size_t *ret_n,
                       struct error *error);
/* alarm->id 0: adds and sets it. `what` is written to the alarm's steps when not NULL. */
bool store_alarm_put(struct store *store, struct alarm *alarm, const char *who, const char *what, struct error *error);

/* Answers to alarms that came as a file: each line of a path is heard once. */
struct answer_fact {
    const char *path;
    int64_t line;
    const char *key;        /* the line's content */
    int64_t at;             /* when it was heard */
    const char *who, *said; /* what became of it */
    bool is_given;
};
bool store_answer_is_known(struct store *store, const char *path, const char *key, bool *ret, struct error *error);
bool store_answer_add(struct store *store, const struct answer_fact *fact, struct error *error);
/* Heard at or after `since`, newest first, at most `most`. */
bool store_answers_newest(struct store *store, int64_t since, size_t most, struct arena *arena,
                          struct answer_fact **ret, size_t *ret_n, struct error *error);

bool store_notice_add(struct store *store, const struct notice *notice, struct error *error); /* due at once */
/* Due at `now`, at most one to each recipient, oldest first, at most `most`. */
bool store_notices_due(struct store *store, int64_t now, size_t most, struct arena *arena, struct notice **ret,
                       size_t *ret_n, struct error *error);
/* Earliest next try after `now`; TIME_FOREVER without one. */
bool store_notice_deadline(struct store *store, int64_t now, int64_t *ret, struct error *error);
enum notice_state { NOTICE_DUE, NOTICE_DELIVERED, NOTICE_GIVEN_UP, NOTICE_GATHERED /* told by another */ };
bool store_notice_done(struct store *store, int64_t id, enum notice_state state, int64_t now, int64_t next_try,
                       const char *answer, struct error *error);
bool store_notice_find(struct store *store, int64_t id, struct arena *arena, struct notice *ret, struct error *error);

/* Due, never tried, about an alarm, and not behind one of the same alarm that waits; by recipient, oldest first. */
struct fresh_notice {
    int64_t id, alarm, created;
    const char *recipient, *rule;
    enum notice_event event;
    enum priority priority;
};
bool store_notices_fresh(struct store *store, int64_t now, struct arena *arena, struct fresh_notice **ret,
                         size_t *ret_n, struct error *error);
bool store_notice_hold(struct store *store, int64_t id, int64_t until, struct error *error);
bool store_notice_id(struct store *store, const char *uid, int64_t *ret, struct error *error); /* 0: there is none */
/* From now on told by that other one. */
bool store_notice_gather(struct store *store, int64_t id, int64_t teller, struct error *error);
/* New alarms that the recipient was to be told of in [from, to), each counted once. */
bool store_raised_count(struct store *store, const char *recipient, struct span span, int64_t *ret,
                        struct error *error);
/* The newest of them; TIME_NONE: there is none. */
bool store_raised_newest(struct store *store, const char *recipient, int64_t *ret, struct error *error);
/* When, each once, ascending. */
bool store_raised_times(struct store *store, const char *recipient, int64_t since, struct arena *arena, int64_t **ret,
                        size_t *ret_n, struct error *error);
/* Of these, those that were chattering. */
bool store_chattering_count(struct store *store, const char *recipient, int64_t since, int64_t *ret,
                            struct error *error);
/* When the last message that tells of new alarms of this rule was sent, TIME_NONE where that was before `since`. */
bool store_raised_last(struct store *store, const char *recipient, const char *rule, int64_t since, int64_t *ret,
                       struct error *error);
/* Given up in [from, to). */
bool store_given_up_count(struct store *store, const char *recipient, struct span span, int64_t *ret,
                          struct error *error);
struct notice_fact {
    const char *recipient;
    enum notice_event event;
    int64_t created;
    enum notice_state state; /* of the message that tells it */
    int64_t attempts, delivered, next_try;
    const char *answer;
    bool is_gathered; /* told together with others */
};
/* What came of one notice so far, of a test above all. */
bool store_notice_outcome(struct store *store, int64_t id, struct arena *arena, struct notice_fact *ret,
                          struct error *error);
bool store_notices_of_alarm(struct store *store, int64_t alarm, struct arena *arena, struct notice_fact **ret,
                            size_t *ret_n, struct error *error);

/* What is known of a recipient between two messages; "" for the digest. TIME_NONE where it does not apply. */
struct listener_fact {
    int64_t flood_since; /* more alarms than a person can take in */
    int64_t summary_at;  /* last summary during it */
    int64_t digest_at;   /* up to when the last digest told */
};
bool store_listener_find(struct store *store, const char *recipient, struct listener_fact *ret, struct error *error);
bool store_listener_put(struct store *store, const char *recipient, const struct listener_fact *fact,
                        struct error *error);

struct outbox_line { /* per recipient, for status */
    const char *recipient;
    int64_t due, delivered, given_up, oldest_due;
    const char *last_answer; /* of the oldest due or given up one; "" */
};
bool store_outbox_summary(struct store *store, struct arena *arena, struct outbox_line **ret, size_t *ret_n,
                          struct error *error);

/* Whether notices to a recipient get through: `since` when one is tried in vain, or when the newest that is done with
 * was given up; TIME_NONE: all is well. */
struct delivery_trouble {
    int64_t since;
    bool is_given_up;
};
bool store_delivery_trouble(struct store *store, const char *recipient, struct delivery_trouble *ret,
                            struct error *error);

/* ---- what must be published, what was ---- */
struct page_fact {
    uint32_t place;
    int32_t month; /* year * 12 + month - 1 */
    int64_t due;   /* changes since it was published; 0: it stands */
    int64_t revision;
    const char *content;
    enum record_state state; /* of what was published */
    const char *facts;       /* what that was made of, one line each; "" or NULL where it is not known */
};
/* One more change. */
bool store_page_due(struct store *store, uint32_t place, int32_t month, struct error *error);
/* The newest month first. `with_dirty`: also of places with spans that will be derived again. */
bool store_pages_due(struct store *store, bool with_dirty, size_t most, struct arena *arena, struct page_fact **ret,
                     size_t *ret_n, struct error *error);
/* With the changes that page->due counts. Those that came after it was read keep it due. */
bool store_page_published(struct store *store, const struct page_fact *page, struct error *error);
bool store_pages_of_place(struct store *store, uint32_t place, struct arena *arena, struct page_fact **ret,
                          size_t *ret_n, struct error *error);

/* One revision of a record, in the order of publication. */
struct revision_fact {
    uint32_t place;
    int32_t month; /* as in page_fact */
    int64_t revision;
    int64_t last_time;       /* of the record's last row; TIME_NONE */
    int64_t arrived;         /* of the newest drop known when it was published; set by the store */
    const char *changes;     /* what it changed and why, one line each (archive/changes.h); NULL as "" */
    enum record_state state; /* as it was published */
};
/* Adds it where it is not known yet. */
bool store_revision_add(struct store *store, const struct revision_fact *revision, struct error *error);
/* Newest first, at most `most`: by the newest drop known then, the month, the place. */
bool store_revisions_newest(struct store *store, size_t most, struct arena *arena, struct revision_fact **ret,
                            size_t *ret_n, struct error *error);

/* Of one month, at most `most`, the newest first. */
bool store_revisions_of_month(struct store *store, uint32_t place, int32_t month, size_t most, struct arena *arena,
                              struct revision_fact **ret, size_t *ret_n, struct error *error);
/* Of a place, in their order. */
bool store_revisions_of_place(struct store *store, uint32_t place, struct arena *arena, struct revision_fact **ret,
                              size_t *ret_n, struct error *error);

struct file_fact {
    const char *path, *sha256;
    uint32_t place;
    int64_t bytes;
};
bool store_file_put(struct store *store, const struct file_fact *file, struct error *error);
bool store_file_find(struct store *store, const char *path, struct arena *arena, struct file_fact *ret, bool *ret_found,
                     struct error *error);
/* Of a place (0: of the network; UINT32_MAX: all), by path. */
bool store_files_load(struct store *store, uint32_t place, struct arena *arena, struct file_fact **ret, size_t *ret_n,
                      struct error *error);

/* Remember the digest of what pages show; ret_changed: it was another one. */
bool store_shown_put(struct store *store, uint64_t digest, bool *ret_changed, struct error *error);

/* Of which records a yearly file was made: what the caller says of them; "" where it is not known. */
bool store_year_find(struct store *store, const char *path, struct arena *arena, const char **ret, struct error *error);
bool store_year_put(struct store *store, const char *path, const char *records, struct error *error);

/* Places whose manifest is behind what stands in the archive; 0: the network's own files. */
bool store_manifest_due(struct store *store, uint32_t place, struct error *error);
bool store_manifests_due(struct store *store, struct arena *arena, uint32_t **ret, size_t *ret_n, struct error *error);
bool store_manifest_done(struct store *store, uint32_t place, struct error *error);

/* ---- making again (rebuild.c) ---- */

/* Readings, finished values, checks, dirty and waiting spans of a place are gone; its facts stay. */
bool store_place_forget(struct store *store, uint32_t place, struct error *error);
/* All its months and its manifest are to be written again. */
bool store_place_renew(struct store *store, uint32_t place, struct error *error);
/* What is known of a drop but for its number, which must be known. */
bool store_drop_replace(struct store *store, const struct drop_fact_row *drop, struct error *error);
/* As it was published before, where nothing is known of it; a drop takes its number along where that is free. */
bool store_page_restore(struct store *store, const struct page_fact *page, struct error *error);
bool store_revision_restore(struct store *store, const struct revision_fact *revision, struct error *error);
bool store_file_forget(struct store *store, const char *path, struct error *error);
/* Places that a rebuild has still to do; they outlive an interruption. */
bool store_rebuild_add(struct store *store, uint32_t place, struct error *error);
bool store_rebuild_done(struct store *store, uint32_t place, struct error *error);
bool store_rebuild_load(struct store *store, struct arena *arena, uint32_t **ret, size_t *ret_n, struct error *error);

struct store_counts {
    int64_t drops, repeated_rows, rows, waiting, set_aside, notes, alarms_open, dirty, pages_due;
    int64_t left_alone; /* spans not derived, places whose records are not written: they ended the program */
};
bool store_counts(struct store *store, struct store_counts *ret, struct error *error);

#endif
