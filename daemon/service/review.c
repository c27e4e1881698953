/* SPDX-License-Identifier: MIT */
#include "service/review.h"

#include "base/timestamp.h"

#include <inttypes.h>
#include <math.h>
#include <stdio.h>
#include <string.h>

enum { LONGEST_TEXT = 500, LONGEST_REASON = 400 };

static bool cut_to_data(struct pipeline *p, uint32_t place, const struct span *span, struct error *error);
static bool keep_part(struct pipeline *p, uint32_t place, const struct reviewed_span *reviewed, struct span part,
                      struct waiting_span *ret_held, size_t *held_count, struct error *error);
static bool differ(const struct record *now, const struct record *kept, struct arena *arena, const char **ret_reason);
static bool row_differs(const struct record *a, size_t i, const struct record *b, size_t j, uint32_t *quantities);
static bool is_same_number(const double *a, size_t i, const double *b, size_t j);

bool review_say(struct store *store, struct arena *arena, const char *station, struct review_fact *review,
                struct error *error)
{
    struct place_fact fact;
    if (!*review->who)
        return fail(error, ERROR_INPUT, "a review needs a name: say who reviewed");
    if (strlen(review->who) > LONGEST_TEXT || strlen(review->why) > LONGEST_TEXT)
        return fail(error, ERROR_INPUT, "a name or reason is longer than %d bytes", LONGEST_TEXT);
    if (!store_place_find(store, station, arena, &fact, error))
        return false;
    bool has_data = fact.number > 0 && fact.first_time != TIME_NONE;
    struct span *span = &review->span;
    /* Without data yet there is nothing to cut to: originals that are taken again bring notes before readings. */
    span->from = has_data && span->from < fact.first_time ? fact.first_time : span->from;
    span->to = has_data && span->to > fact.last_time + 1 ? fact.last_time + 1 : span->to;
    if (fact.number == 0 || span->from >= span->to) {
        span->to = span->from;
        return true;
    }
    review->place = fact.number;
    return store_review_add(store, review, error) && store_dirty_add(store, fact.number, *span, error) &&
           store_manifest_due(store, fact.number, error);
}

bool review_say_note(struct pipeline *p, size_t station, const struct note *note, int64_t now, struct error *error)
{
    const char *colon = strstr(note->text, ": ");
    size_t length = colon ? (size_t)(colon - note->text) : strlen(note->text);
    struct review_fact review = {.span = {note->time, note->until},
                                 .who =
                                     arena_strndup(p->arena, note->text, length < LONGEST_TEXT ? length : LONGEST_TEXT),
                                 .why = arena_strndup(p->arena, colon ? colon + 2 : "", LONGEST_TEXT),
                                 .said = now};
    return review_say(p->store, p->arena, p->config->stations[station].id, &review, error);
}

bool review_keep(struct pipeline *p, uint32_t place, struct span span, struct error *error)
{
    struct reviewed_span *list;
    size_t n, held_count = 0;
    if (!store_reviewed_load(p->store, place, span, p->arena, &list, &n, error))
        return false;
    for (size_t k = 0; k < n; k++)
        if (!list[k].is_kept && !cut_to_data(p, place, &list[k].span, error))
            return false;
    struct waiting_span *held = arena_array(p->arena, n + 1, sizeof *held);
    for (size_t k = 0; k < n; k++) {
        struct span part = list[k].span;
        part.from = part.from < span.from ? span.from : part.from;
        part.to = part.to > span.to ? span.to : part.to;
        if (!keep_part(p, place, &list[k], part, held, &held_count, error))
            return false;
    }
    return store_held_replace(p->store, place, span, held, held_count, error);
}

/* A word that was said before there was data holds for the data that came first, not for all that may come. */
static bool cut_to_data(struct pipeline *p, uint32_t place, const struct span *span, struct error *error)
{
    const char *key;
    struct place_fact fact;
    return store_place_key(p->store, place, p->arena, &key, error) &&
           store_place_find(p->store, key, p->arena, &fact, error) &&
           store_reviewed_cut(p->store, place, (struct span){span->from, fact.first_time}, error) &&
           store_reviewed_cut(p->store, place, (struct span){fact.last_time + 1, span->to}, error);
}

static bool keep_part(struct pipeline *p, uint32_t place, const struct reviewed_span *reviewed, struct span part,
                      struct waiting_span *ret_held, size_t *held_count, struct error *error)
{
    struct record now, kept;
    if (!store_record_load(p->store, place, part, p->arena, &now, error))
        return false;
    if (!reviewed->is_kept)
        return store_reviewed_rows_save(p->store, place, part, &now, error) &&
               store_reviewed_keep(p->store, place, part, error);
    if (!store_reviewed_rows_load(p->store, place, part, p->arena, &kept, error))
        return false;
    const char *reason;
    if (!differ(&now, &kept, p->arena, &reason))
        return true;
    ret_held[(*held_count)++] = (struct waiting_span){.place = place, .span = part, .reason = reason};
    return store_record_save(p->store, place, part, &kept, error);
}

/* In what: "12 rows: level, oxygen". */
static bool differ(const struct record *now, const struct record *kept, struct arena *arena, const char **ret_reason)
{
    size_t i = 0, j = 0, rows = 0;
    uint32_t quantities = 0;
    while (i < now->n || j < kept->n) {
        bool is_new = j == kept->n || (i < now->n && now->time[i] < kept->time[j]);
        bool is_gone = !is_new && (i == now->n || kept->time[j] < now->time[i]);
        if (is_new || is_gone)
            rows++;
        else
            rows += row_differs(now, i, kept, j, &quantities);
        i += !is_gone;
        j += !is_new;
    }
    char words[LONGEST_REASON];
    size_t length = (size_t)snprintf(words, sizeof words, "%zu %s", rows, rows == 1 ? "row" : "rows");
    const char *between = ": ";
    for (enum quantity q = 0; q < QUANTITY_COUNT && length < sizeof words; q++) {
        if (!(quantities >> q & 1))
            continue;
        length += (size_t)snprintf(words + length, sizeof words - length, "%s%s", between, quantity_info(q)->key);
        between = ", ";
    }
    *ret_reason = arena_strdup(arena, words);
    return rows > 0;
}

static bool row_differs(const struct record *a, size_t i, const struct record *b, size_t j, uint32_t *quantities)
{
    bool differs = a->barometer[i] != b->barometer[j] || a->raw_time[i] != b->raw_time[j];
    for (enum quantity q = 0; q < QUANTITY_COUNT; q++) {
        bool has_a = a->value[q] && !(isnan(a->value[q][i]) && a->tests[q][i] == 0);
        bool has_b = b->value[q] && !(isnan(b->value[q][j]) && b->tests[q][j] == 0);
        if (!has_a && !has_b)
            continue;
        if (has_a == has_b && is_same_number(a->value[q], i, b->value[q], j) && a->flag[q][i] == b->flag[q][j] &&
            a->tests[q][i] == b->tests[q][j] && is_same_number(a->uncertainty[q], i, b->uncertainty[q], j))
            continue;
        *quantities |= 1u << q;
        differs = true;
    }
    return differs;
}

static bool is_same_number(const double *a, size_t i, const double *b, size_t j)
{
    double x = a ? a[i] : NAN, y = b ? b[j] : NAN;
    return x == y || (isnan(x) && isnan(y));
}

enum record_state review_state(const struct record *record, const struct reviewed_span *spans, size_t n)
{
    size_t reviewed = 0;
    for (size_t k = 0; k < n; k++)
        reviewed += record_at_or_after(record, spans[k].span.to) - record_at_or_after(record, spans[k].span.from);
    return reviewed == 0 ? RECORD_PROVISIONAL : reviewed < record->n ? RECORD_PARTLY_REVIEWED : RECORD_REVIEWED;
}
