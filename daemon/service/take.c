/* SPDX-License-Identifier: MIT */
/* One file of the inbox: from a name that may be worth reading to facts in the store. */
#include "archive/archive.h"
#include "archive/original.h"
#include "base/crash_point.h"
#include "base/file.h"
#include "base/text.h"
#include "base/timestamp.h"
#include "config/parts.h"
#include "intake/intake.h"
#include "service/attempt.h"
#include "service/pipeline.h"
#include "service/review.h"
#include "service/take_answers.h"

#include <errno.h>
#include <inttypes.h>
#include <stdio.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

enum { LARGEST_COMPLAINT_TEXT = 16384 };

/* Stands where a drop's layout is named; no layout of the settings reads such a file. */
static const struct layout answers_layout = {.id = "answers"};

/* One take, start to end. */
struct take {
    struct pipeline *p;
    const struct watch *watch;
    const struct candidate *candidate;
    int64_t now, disk_now;
    struct path_fact known; /* what the store knew of the name; path NULL: nothing */
    struct path_fact next;  /* what it will know */
    char *bytes;
    size_t length;
    char sha256[SHA256_HEX_SIZE];
    struct batch batch;
    struct take_news *news;
    bool is_again; /* from the archive: the caller derives the whole place */
    struct error *error;
};

static bool begin(struct take *t, bool *ret_is_known);
static enum take_result finish(struct take *t, enum take_result result, const char *message, int64_t drop);
static enum take_result set_aside(struct take *t, const char *why, int64_t drop);
static bool is_unchanged(const struct path_fact *known, const struct candidate *candidate);
static bool is_settled_matter(const struct take *t);
static enum take_result read_bytes(struct take *t, bool *ret_done);
static enum take_result read_content(struct take *t);
static enum take_result read_answers(struct take *t, bool has_rested);
static bool take_answers_again(struct take *t, struct drop_fact_row *drop, const char *bytes, size_t length);
static enum take_result wait_for_end(struct take *t);
static enum take_result refuse(struct take *t, const char *why, int64_t rested);
static enum take_result keep(struct take *t);
static enum take_result finish_repeated(struct take *t, int64_t known);
static bool keep_readings(struct take *t, int64_t number, struct drop_fact_row *drop);
static bool keep_notes(struct take *t, int64_t number, struct drop_fact_row *drop);
static bool keep_note(struct take *t, const struct note *note, bool *ret_changed);
static const char *complaints_text(struct take *t);
static const char *owner_id(const struct take *t, enum archive_place *ret_place, uint32_t *ret_number);
static const char *disagreement(struct take *t, const struct merge_result *result);

enum take_result pipeline_take(struct pipeline *p, const struct watch *watch, const struct candidate *candidate,
                               int64_t now, int64_t disk_now, struct take_news *ret_news, struct error *error)
{
    arena_reset(p->arena);
    struct take t = {.p = p, .watch = watch, .candidate = candidate, .now = now, .disk_now = disk_now, .error = error};
    bool found;
    *ret_news = (struct take_news){"", TIME_FOREVER};
    t.news = ret_news;
    if (!begin(&t, &found))
        return TAKE_FAILED;
    if (found && is_settled_matter(&t))
        return TAKE_KNOWN;
    if (candidate->state == CANDIDATE_WAITING) {
        ret_news->message = candidate->reason;
        return finish(&t, TAKE_WAITING, candidate->reason, t.known.drop);
    }
    if (found && is_unchanged(&t.known, candidate) && t.known.attempts >= ATTEMPTS_MOST) {
        ret_news->message =
            "the program ended each time it was read, so it is read no more: keep the file and report it; it is "
            "tried again when the file, the settings or the program change";
        return finish(&t, TAKE_SET_ASIDE, ret_news->message, t.known.drop);
    }
    bool done;
    attempt_begin(p->attempts, candidate);
    enum take_result result = read_bytes(&t, &done);
    crash_point("reading", candidate->path);
    if (!done)
        result = read_content(&t);
    attempt_end(p->attempts);
    CLEANUP(cleanup_free) char *bytes = t.bytes;
    (void)bytes; /* freed here, whatever became of it */
    ret_news->message = t.next.message;
    return result;
}

bool pipeline_commit_taken(struct pipeline *p, struct error *error)
{
    if (original_settle(p->originals, error))
        return store_commit(p->store, error);
    store_rollback(p->store);
    return false;
}

bool pipeline_take_failed(struct pipeline *p, const struct candidate *candidate, int64_t now, const char *why,
                          struct error *error)
{
    struct take t = {.p = p, .candidate = candidate, .now = now, .error = error};
    bool found;
    arena_reset(p->arena);
    return begin(&t, &found) && finish(&t, TAKE_WAITING, why, t.known.drop) == TAKE_WAITING;
}

static bool begin(struct take *t, bool *ret_is_known)
{
    const struct candidate *candidate = t->candidate;
    t->next = (struct path_fact){.path = candidate->path,
                                 .size = candidate->size,
                                 .modified_ns = candidate->modified_ns,
                                 .changed_ns = candidate->changed_ns,
                                 .inode = candidate->inode,
                                 .device = candidate->device,
                                 .settings = t->p->config->digest,
                                 .message = ""};
    return store_path_find(t->p->store, candidate->path, t->p->arena, &t->known, ret_is_known, t->error);
}

bool pipeline_take_again(struct pipeline *p, struct drop_fact_row *drop, const char *bytes, size_t length,
                         enum again what, struct error *error)
{
    struct candidate candidate = {.size = (int64_t)length};
    struct take t = {.p = p, .candidate = &candidate, .now = drop->arrived, .is_again = true, .error = error};
    enum archive_place place;
    uint32_t number;
    if (drop->place == 0 && answers_are_in(p->config, drop->path))
        return what == AGAIN_READINGS || take_answers_again(&t, drop, bytes, length);
    if (!intake_read(p->arena, p->config, drop->path, bytes, length, drop->arrived, true, &t.batch, error))
        return false;
    const char *id = owner_id(&t, &place, &number);
    if (number != drop->place)
        return fail(error, ERROR_INPUT, "belongs to '%s' by the settings of now: no other place can have it back", id);
    drop->layout = t.batch.layout->id;
    drop->evidence = t.batch.evidence;
    drop->serial = t.batch.serial;
    drop->rows = (int64_t)t.batch.rows;
    drop->refused = (int64_t)t.batch.refused_rows;
    drop->complaints = complaints_text(&t);
    if (what == AGAIN_READINGS)
        return t.batch.is_notes || (keep_readings(&t, drop->number, drop) && store_drop_replace(p->store, drop, error));
    return (!t.batch.is_notes || keep_notes(&t, drop->number, drop)) && store_drop_add(p->store, drop, error);
}

static bool take_answers_again(struct take *t, struct drop_fact_row *drop, const char *bytes, size_t length)
{
    const struct teller teller = {t->p->config, t->p->store, t->p->arena};
    size_t lines;
    if (!answers_remember(&teller, drop->path, bytes, length, drop->arrived, &lines, t->error))
        return false;
    drop->layout = answers_layout.id;
    drop->evidence = drop->complaints = "";
    drop->rows = (int64_t)lines;
    return store_drop_add(t->p->store, drop, t->error);
}

/* The same file as when it was dealt with, under the same settings. */
static bool is_settled_matter(const struct take *t)
{
    if (!is_unchanged(&t->known, t->candidate))
        return false;
    switch (t->known.state) {
    case DROP_TAKEN:
    case DROP_REPEATED: return true;
    case DROP_ELSEWHERE:
    case DROP_SET_ASIDE: return t->known.settings == t->p->config->digest;
    case DROP_WAITING:
        return t->candidate->state == CANDIDATE_WAITING && strcmp(t->known.message, t->candidate->reason) == 0;
    default: return false;
    }
}

static bool is_unchanged(const struct path_fact *known, const struct candidate *candidate)
{
    return known->size == candidate->size && known->modified_ns == candidate->modified_ns &&
           known->changed_ns == candidate->changed_ns && known->inode == candidate->inode;
}

/* Write down what became of the name. A name that was taken before stays taken while its new content waits. */
static enum take_result finish(struct take *t, enum take_result result, const char *message, int64_t drop)
{
    static const enum drop_state states[] = {[TAKE_TAKEN] = DROP_TAKEN,
                                             [TAKE_REPEATED] = DROP_REPEATED,
                                             [TAKE_WAITING] = DROP_WAITING,
                                             [TAKE_SET_ASIDE] = DROP_SET_ASIDE,
                                             [TAKE_ELSEWHERE] = DROP_ELSEWHERE};
    t->next.state = states[result];
    t->next.message = arena_strdup(t->p->arena, message);
    t->next.drop = drop;
    if (result == TAKE_WAITING && t->known.path && is_unchanged(&t->known, t->candidate))
        t->next.attempts = t->known.attempts;
    bool is_same_state = t->known.path && t->known.state == t->next.state;
    t->next.since = is_same_state && result == TAKE_WAITING ? t->known.since : t->now;
    if (!store_path_put(t->p->store, &t->next, t->error))
        return TAKE_FAILED;
    t->p->taken += result == TAKE_TAKEN;
    t->p->set_aside += result == TAKE_SET_ASIDE;
    t->p->repeated += result == TAKE_REPEATED;
    return result;
}

/* Where services share an inbox, the first part's tells of it, so that people hear once. */
static enum take_result set_aside(struct take *t, const char *why, int64_t drop)
{
    const struct config *config = t->p->config;
    if (parts_keeps_rest(config))
        return finish(t, TAKE_SET_ASIDE, why, drop);
    return finish(t, TAKE_ELSEWHERE, arena_printf(t->p->arena, "part '%s' tells of it: %s", config->parts[0].id, why),
                  drop);
}

static enum take_result read_bytes(struct take *t, bool *ret_done)
{
    *ret_done = true;
    struct error why;
    CLEANUP(cleanup_fd) int fd = watch_open_file(t->watch, t->candidate->path, &why);
    if (fd < 0)
        return why.kind == ERROR_INPUT ? set_aside(t, why.text, 0) : finish(t, TAKE_WAITING, why.text, 0);
    if (!file_read_fd(fd, t->candidate->path, (size_t)t->p->config->largest_drop, &t->bytes, &t->length, &why)) {
        const char *cure =
            why.kind == ERROR_INPUT
                ? arena_printf(t->p->arena, "%s: split the file, or raise 'largest_drop' in the settings", why.text)
                : why.text;
        return why.kind == ERROR_INPUT ? set_aside(t, cure, 0) : finish(t, TAKE_WAITING, cure, 0);
    }
    /* Whoever wrote while we read will be seen again; these bytes may be half of each. */
    struct stat after;
    bool moved = fstat(fd, &after) < 0 || after.st_size != t->candidate->size || (size_t)after.st_size != t->length ||
                 (int64_t)after.st_mtim.tv_sec * 1000000000 + after.st_mtim.tv_nsec != t->candidate->modified_ns;
    if (moved)
        return finish(t, TAKE_WAITING, "changed while it was read", t->known.drop);
    *ret_done = false;
    return TAKE_TAKEN;
}

static enum take_result read_content(struct take *t)
{
    sha256_hex(t->bytes, t->length, t->sha256);
    int64_t known = 0;
    if (!store_drop_is_of_path(t->p->store, t->sha256, t->candidate->path, &known, t->error))
        return TAKE_FAILED;
    if (known > 0)
        return finish(t, TAKE_TAKEN, "", known);
    int64_t rested = t->disk_now - t->candidate->changed_ns / 1000000;
    bool has_rested = rested >= t->p->config->hold_open_end;
    if (answers_are_in(t->p->config, t->candidate->path))
        return read_answers(t, has_rested);
    struct error why;
    if (!intake_read(t->p->arena, t->p->config, t->candidate->path, t->bytes, t->length, t->now, has_rested, &t->batch,
                     &why))
        return why.kind == ERROR_ELSEWHERE ? finish(t, TAKE_ELSEWHERE, why.text, 0) : refuse(t, why.text, rested);
    return t->batch.ends_open ? wait_for_end(t) : keep(t);
}

static enum take_result wait_for_end(struct take *t)
{
    char held[TIMESTAMP_SIZE];
    int64_t rested = t->disk_now - t->candidate->changed_ns / 1000000;
    t->news->again_in = t->p->config->hold_open_end - (rested > 0 ? rested : 0);
    return finish(t, TAKE_WAITING,
                  arena_printf(t->p->arena,
                               "the last line has no end yet: it is read once it is complete, or when the file has "
                               "rested for %s",
                               duration_print(t->p->config->hold_open_end, held)),
                  t->known.drop);
}

/* A file of answers is a drop as others are: its original is kept, as proof. */
static enum take_result read_answers(struct take *t, bool has_rested)
{
    const struct teller teller = {t->p->config, t->p->store, t->p->arena};
    struct answers_taken taken;
    struct error why = {0};
    int64_t written = t->candidate->modified_ns / 1000000 + (t->now - t->disk_now);
    if (!answers_take(&teller, t->candidate->path, t->bytes, t->length, has_rested, written, t->now, &taken, &why)) {
        if (why.kind == ERROR_INPUT)
            return finish(t, TAKE_SET_ASIDE, why.text, t->known.drop);
        *t->error = why;
        return TAKE_FAILED;
    }
    if (taken.ends_open)
        return wait_for_end(t);
    t->batch = (struct batch){.layout = &answers_layout,
                              .is_notes = true,
                              .evidence = "",
                              .rows = taken.lines,
                              .refused_rows = taken.refused};
    t->batch.complaints = arena_array(t->p->arena, 1, sizeof *t->batch.complaints);
    t->batch.complaints[0].text = taken.said;
    t->batch.complaint_count = t->batch.complaint_total = *taken.said != '\0';
    return keep(t);
}

/* A clock that stands before the file's own last change is wrong, and rows of today lie in its future. */
static enum take_result refuse(struct take *t, const char *why, int64_t rested)
{
    if (rested > -HOUR_MS)
        return set_aside(t, why, t->known.drop);
    t->news->again_in = MINUTE_MS;
    const char *wait =
        arena_printf(t->p->arena,
                     "this machine's clock stands before the last change of the file, so it is read again when "
                     "the clock is right; by the clock of now: %s",
                     why);
    return finish(t, TAKE_WAITING, wait, t->known.drop);
}

/* The original first: it is durable before the facts that say it was taken (pipeline_commit_taken). */
static enum take_result keep(struct take *t)
{
    enum archive_place place;
    uint32_t number = 0;
    const char *id = owner_id(t, &place, &number);
    int64_t known;
    if (!store_drop_find(t->p->store, t->sha256, number, &known, t->error))
        return TAKE_FAILED;
    if (known > 0)
        return finish_repeated(t, known);
    char original[ARCHIVE_PATH_SIZE];
    archive_original_path(place, id, t->sha256, t->candidate->path, original);
    if (!original_keep(t->p->originals, original, t->bytes, t->length, t->sha256, t->error))
        return TAKE_FAILED;
    struct drop_fact_row drop = {.sha256 = t->sha256,
                                 .path = t->candidate->path,
                                 .original = original,
                                 .layout = t->batch.layout->id,
                                 .evidence = t->batch.evidence,
                                 .serial = t->batch.serial,
                                 .bytes = (int64_t)t->length,
                                 .arrived = t->now,
                                 .place = number,
                                 .rows = (int64_t)t->batch.rows,
                                 .refused = (int64_t)t->batch.refused_rows};
    struct file_fact file = {.path = original, .place = number, .sha256 = t->sha256, .bytes = (int64_t)t->length};
    if (!store_drop_next_number(t->p->store, &drop.number, t->error))
        return TAKE_FAILED;
    bool kept = t->batch.is_notes ? keep_notes(t, drop.number, &drop) : keep_readings(t, drop.number, &drop);
    if (!kept || !store_drop_add(t->p->store, &drop, t->error) || !store_file_put(t->p->store, &file, t->error) ||
        !store_manifest_due(t->p->store, number, t->error))
        return TAKE_FAILED;
    return finish(t, TAKE_TAKEN, drop.complaints, drop.number);
}

static enum take_result finish_repeated(struct take *t, int64_t known)
{
    struct drop_fact_row drop;
    if (!store_drop_load(t->p->store, known, t->p->arena, &drop, t->error))
        return TAKE_FAILED;
    return finish(t, TAKE_REPEATED, arena_printf(t->p->arena, "the same bytes as '%s'", drop.path), known);
}

static bool keep_readings(struct take *t, int64_t number, struct drop_fact_row *drop)
{
    struct pipeline *p = t->p;
    struct readings *newer = &t->batch.readings, older, merged;
    struct merge_result result;
    bool is_station = t->batch.place_kind == PLACE_STATION;
    uint32_t place = drop->place;
    if (newer->n == 0)
        return true;
    for (size_t i = 0; i < newer->n; i++)
        newer->drop[i] = (uint32_t)number;
    struct span days = {timestamp_floor(newer->time[0], DAY_MS),
                        timestamp_floor(newer->time[newer->n - 1], DAY_MS) + DAY_MS};
    if (!store_readings_load(p->store, place, days, p->arena, &older, t->error))
        return false;
    readings_merge(&older, newer, p->arena, &merged, &result);
    drop->added = (int64_t)result.added;
    drop->repeated = (int64_t)(result.repeated + t->batch.folded_rows);
    drop->filled = (int64_t)result.filled;
    drop->disagreed = (int64_t)result.disagreed;
    const char *complaints = complaints_text(t);
    drop->complaints = result.disagreed ? arena_printf(p->arena, "%s%s%s", disagreement(t, &result),
                                                       *complaints ? "\n" : "", complaints)
                                        : complaints;
    if (result.changed_from > result.changed_to)
        return true;
    struct span changed = {result.changed_from, result.changed_to + 1};
    if (!store_readings_save(p->store, place, &merged, t->error))
        return false;
    if (t->is_again)
        return true;
    return is_station ? spans_dirty_by_readings(p, t->batch.place_index, changed, t->error)
                      : spans_dirty_by_air(p, t->batch.place_index, changed, t->error);
}

static bool keep_notes(struct take *t, int64_t number, struct drop_fact_row *drop)
{
    drop->complaints = complaints_text(t);
    for (size_t k = 0; k < t->batch.note_count; k++) {
        bool changed;
        t->batch.notes[k].drop = (uint32_t)number;
        if (!keep_note(t, &t->batch.notes[k], &changed))
            return false;
        drop->added += changed;
        drop->repeated += !changed;
    }
    return true;
}

/* A corrected note acts where it reaches to, and where the one that it replaces did. */
static bool keep_note(struct take *t, const struct note *note, bool *ret_changed)
{
    struct pipeline *p = t->p;
    size_t station = config_find_station(p->config, note->station);
    uint32_t place = p->station_places[station];
    struct note old;
    bool is_replaced;
    if (!store_note_find(p->store, place, note, p->arena, &old, &is_replaced, t->error) ||
        !store_note_put(p->store, place, note, ret_changed, t->error))
        return false;
    if (*ret_changed && note->kind == NOTE_REVIEWED && !review_say_note(p, station, note, t->now, t->error))
        return false;
    if (!*ret_changed || t->is_again)
        return true;
    return (!is_replaced || spans_dirty_by_note(p, station, &old, t->error)) &&
           spans_dirty_by_note(p, station, note, t->error) && store_manifest_due(p->store, place, t->error);
}

static const char *complaints_text(struct take *t)
{
    struct text text;
    text_init(&text, LARGEST_COMPLAINT_TEXT);
    for (size_t k = 0; k < t->batch.complaint_count && !text.is_full; k++)
        text_printf(&text, "%s%s", k ? "\n" : "", t->batch.complaints[k].text);
    if (t->batch.complaint_total > t->batch.complaint_count)
        text_printf(&text, "\nand %zu more", t->batch.complaint_total - t->batch.complaint_count);
    const char *copy = arena_strdup(t->p->arena, text.bytes ? text.bytes : "");
    text_done(&text);
    return copy;
}

static const char *disagreement(struct take *t, const struct merge_result *result)
{
    char when[TIMESTAMP_SIZE];
    struct drop_fact_row other;
    struct error ignored; /* the name is only for the message */
    if (!store_drop_load(t->p->store, result->other_drop, t->p->arena, &other, &ignored))
        other.path = "an earlier drop";
    return arena_printf(
        t->p->arena, "%zu rows disagree with '%s', the first at %s: the values of this drop, the later one, are used",
        result->disagreed, other.path, timestamp_print(result->first_disagreement, when));
}

/* Whose originals: the place's; of notes, their station's when there is only one. */
static const char *owner_id(const struct take *t, enum archive_place *ret_place, uint32_t *ret_number)
{
    const struct config *config = t->p->config;
    *ret_place = ARCHIVE_STATION;
    if (t->batch.place_kind == PLACE_STATION) {
        *ret_number = t->p->station_places[t->batch.place_index];
        return config->stations[t->batch.place_index].id;
    }
    if (t->batch.place_kind == PLACE_BAROMETER) {
        *ret_place = ARCHIVE_BAROMETER;
        *ret_number = t->p->barometer_places[t->batch.place_index];
        return config->barometers[t->batch.place_index].id;
    }
    *ret_place = ARCHIVE_NETWORK;
    *ret_number = 0;
    return "";
}
