/* SPDX-License-Identifier: MIT */
/* The one path from a file to finished values and alarms; the only place where the stages meet.
 *
 *   pipeline_take     one file of the inbox -> original, readings, notes, dirty spans
 *   pipeline_derive   one dirty span        -> finished values, episodes, alarms and notices, due pages
 *   publish_months, _pages  due pages       -> files of the archive (publish.h)
 *   pipeline_advance  time without data     -> silence, drops that wait too long
 *
 * Late data, reprocessing and import are the same path: each only marks spans dirty. `now` is the wall clock for facts
 * and rules; `disk_now` the one that file times are compared with (they differ when the wall clock is held for a
 * rehearsal). */
#ifndef RILLWARD_SERVICE_PIPELINE_H
#define RILLWARD_SERVICE_PIPELINE_H

#include "base/error.h"
#include "base/memory.h"
#include "config/config.h"
#include "store/store.h"
#include "watch/watch.h"

struct original_keeper;
struct supply_memo;
struct network_views;
struct attempts;

struct pipeline {
    const struct config *config;
    struct store *store;
    struct arena *arena;                         /* of one piece of work */
    uint32_t *station_places, *barometer_places; /* numbers in the store, by index in the settings */
    struct original_keeper *originals;           /* of drops that are being taken */
    struct network_views *views;                 /* network_views.h; NULL: none yet */
    struct attempts *attempts;    /* attempt.h; the caller's; NULL: what is being done is not written down */
    bool has_delivery_trouble;    /* at the last look */
    struct supply_memo *supplies; /* by station, see supplies.h; NULL: no station has anything that runs out */
    int64_t next_alarm_look; /* wall time of the next thing that pipeline_advance has to judge; TIME_NONE: not known */
    size_t taken, set_aside, repeated; /* since the start, for the log */
};

/* Gives every station and barometer its number, and marks dirty what other settings shaped. `store` and `config` stay
 * the caller's. False: ret is empty. */
bool pipeline_open(struct pipeline *ret, const struct config *config, struct store *store, struct error *error);
void pipeline_close(struct pipeline *pipeline);

/* For commands that only look: places without a number in the store get 0. Nothing is written. */
bool pipeline_open_to_read(struct pipeline *ret, const struct config *config, struct store *store, struct error *error);
/* The chain over a span, nothing stored: rows of `ret` reach beyond the span. Valid until the arena is reset. */
struct derive_input;
struct derived;
bool pipeline_derive_span(struct pipeline *pipeline, size_t station, struct span span, struct derive_input *ret_input,
                          struct derived *ret, struct error *error);

/* What became of a candidate. */
enum take_result {
    TAKE_KNOWN, /* nothing new */
    TAKE_TAKEN,
    TAKE_REPEATED, /* the same bytes under another name */
    TAKE_WAITING,
    TAKE_SET_ASIDE,
    TAKE_ELSEWHERE, /* another part's to take, or to tell of */
    TAKE_FAILED,    /* the machine is in the way: error filled; the transaction must be rolled back, try again later */
};
struct take_news {
    const char *message; /* arena; for the log; may be "" */
    int64_t again_in;    /* ms after which another look may find it ready though nothing changed; TIME_FOREVER */
};
/* Within a transaction. */
enum take_result pipeline_take(struct pipeline *pipeline, const struct watch *watch, const struct candidate *candidate,
                               int64_t now, int64_t disk_now, struct take_news *ret_news, struct error *error);
/* The originals of what was taken in the transaction, durable, then the transaction. On failure it is rolled back, and
 * all of them are to be taken again. */
bool pipeline_commit_taken(struct pipeline *pipeline, struct error *error);
/* After TAKE_FAILED and what it wrote is undone, within a transaction: status tells that it waits, and for what. */
bool pipeline_take_failed(struct pipeline *pipeline, const struct candidate *candidate, int64_t now, const char *why,
                          struct error *error);

/* An original of the archive once more, as it was taken as `drop->number` from `drop->path` at `drop->arrived`; within
 * a transaction. AGAIN_FACTS: its notes and its row, where a lost database is made again. AGAIN_READINGS: its readings
 * go over those that are there, and its row says what the layout of now made of it. Nothing becomes dirty. INPUT error
 * where the settings of now set it aside or give it to another place. */
enum again { AGAIN_FACTS, AGAIN_READINGS };
bool pipeline_take_again(struct pipeline *pipeline, struct drop_fact_row *drop, const char *bytes, size_t length,
                         enum again what, struct error *error);
/* All values of a station from its readings and notes, then the rules over them; a barometer is left to its turn, after
 * its neighbours are made again. Within a transaction. */
bool pipeline_derive_again(struct pipeline *pipeline, uint32_t place, int64_t now, struct error *error);

/* Derive one dirty span, in a transaction of its own; ret_worked false when there was none. */
bool pipeline_derive(struct pipeline *pipeline, int64_t now, bool *ret_worked, struct error *error);

/* Rules that time alone can meet, in a transaction of its own; keeps next_alarm_look. */
bool pipeline_advance(struct pipeline *pipeline, int64_t now, struct error *error);

/* ---- between the files of service/ ---- */

/* Index in the settings of a place number; the count where it is configured no more. */
size_t pipeline_station_of(const struct pipeline *pipeline, uint32_t place);
size_t pipeline_barometer_of(const struct pipeline *pipeline, uint32_t place);

/* Which spans a new fact makes dirty (spans.c). `changed` is [from, to) of rows or notes that changed. */
bool spans_dirty_by_readings(struct pipeline *pipeline, size_t station, struct span changed, struct error *error);
/* All stations that may use the barometer, in `changed`. */
bool spans_dirty_by_barometer(struct pipeline *pipeline, size_t barometer, struct span changed, struct error *error);
bool spans_dirty_by_air(struct pipeline *pipeline, size_t barometer, struct span changed, struct error *error);
bool spans_dirty_by_note(struct pipeline *pipeline, size_t station, const struct note *note, struct error *error);

/* What is derived of a barometer (barometers.c): its checks against its neighbours, of the weeks that `span` touches.
 */
bool barometers_derive(struct pipeline *pipeline, size_t barometer, struct span span, struct error *error);
/* Indices of the nearest others within the pairing distance, at most `most`; returns how many. */
size_t barometers_beside(const struct config *config, size_t barometer, size_t most, size_t *ret);

#define LEVEL_NOTES (1u << NOTE_LEVEL | 1u << NOTE_TAPE_DOWN)
#define READING_NEIGHBOURS 2 /* on each side: what a hand reading is judged by, see reference_set_aside() */
#define CLOCK_NOTES (1u << NOTE_CLOCK)
#define CHECK_NOTES (1u << NOTE_CHECK | 1u << NOTE_CHECK_CLEANED | 1u << NOTE_STANDARD)
#define INSTRUMENT_NOTES (1u << NOTE_INSTRUMENT)
#define SPAN_NOTES (1u << NOTE_STRIKE | 1u << NOTE_RESTORE)

/* Trends of a station's sensors, of every week that looks back at the span (trends.c); *ret_changed: where they are not
 * what they were, empty where they are. */
bool trends_derive(struct pipeline *pipeline, size_t station, struct span span, struct span *ret_changed,
                   struct error *error);

/* Rules over a span whose finished values just changed (announce.c). Within a transaction. */
bool announce_span(struct pipeline *pipeline, const char *place_id, uint32_t place, bool is_barometer, struct span span,
                   int64_t now, struct error *error);

#endif
