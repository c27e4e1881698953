/* SPDX-License-Identifier: MIT */
#include "alarms/series.h"

#include "base/text.h"
#include "base/timestamp.h"
#include "config/vocabulary.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>

#define LONGEST_SERIES 256

struct record series_read(struct arena *arena, enum quantity quantity, const char *text)
{
    struct record record;
    record_init(&record, arena, LONGEST_SERIES, 1u << quantity);
    size_t n = 0;
    int64_t time = 0;
    for (const char *at = text; *at && n < LONGEST_SERIES;) {
        char *end = NULL;
        if (*at == ' ') {
            at++;
            continue;
        }
        if (*at == '~') {
            time += strtol(at + 1, &end, 10) * MINUTE_MS - SERIES_STEP;
            at = end;
            continue;
        }
        double value = strtod(at, &end);
        bool is_missing = end == at;
        at = is_missing ? at + 1 : end;
        uint8_t flag = is_missing ? FLAG_MISSING : *at == '?' ? FLAG_SUSPECT : *at == '!' ? FLAG_FAIL : FLAG_PASS;
        at += *at == '?' || *at == '!';
        record.time[n] = time;
        record.value[quantity][n] = is_missing ? NAN : value;
        record.flag[quantity][n++] = flag;
        time += SERIES_STEP;
    }
    record.n = n;
    return record;
}

const char *series_print(struct arena *arena, const struct episode *episodes, size_t n)
{
    struct text text;
    text_init(&text, 65536);
    text_puts(&text, "");
    for (size_t i = 0; i < n; i++) {
        const struct episode *episode = &episodes[i];
        text_printf(&text, "%s%g..", i ? "; " : "", (double)episode->start / MINUTE_MS);
        if (episode->end == TIME_NONE)
            text_puts(&text, "open");
        else
            text_printf(&text, "%g", (double)episode->end / MINUTE_MS);
        text_printf(&text, " raised %g worst %g@%g last %g@%g", (double)episode->raised / MINUTE_MS, episode->worst,
                    (double)episode->worst_time / MINUTE_MS, episode->last, (double)episode->last_time / MINUTE_MS);
    }
    char *copy = arena_strdup(arena, text.bytes ? text.bytes : "");
    text_done(&text);
    return copy;
}

uint64_t random_next(uint64_t *state)
{
    *state ^= *state >> 12;
    *state ^= *state << 25;
    *state ^= *state >> 27;
    return *state * UINT64_C(2685821657736338717);
}

size_t random_below(uint64_t *state, size_t n)
{
    return (size_t)((random_next(state) >> 33) % n);
}

struct record series_random(struct arena *arena, enum quantity quantity, size_t n, uint64_t *state)
{
    static const uint8_t rare[] = {FLAG_SUSPECT, FLAG_FAIL, FLAG_NOT_EVALUATED};
    struct record record;
    record_init(&record, arena, n, 1u << quantity);
    int64_t time = 0;
    double level = 0;
    for (size_t i = 0; i < n; i++) {
        level = 0.9 * level + ((double)random_below(state, 2001) - 1000) / 1000;
        double noise = ((double)random_below(state, 201) - 100) / 200;
        bool is_missing = random_below(state, 12) == 0;
        record.time[i] = time;
        record.value[quantity][i] = is_missing ? NAN : level + noise;
        record.flag[quantity][i] = is_missing                    ? FLAG_MISSING
                                   : random_below(state, 8) == 0 ? rare[random_below(state, 3)]
                                                                 : FLAG_PASS;
        bool is_pause = random_below(state, 25) == 0;
        time += is_pause ? (int64_t)random_below(state, 40) * HOUR_MS + MINUTE_MS : SERIES_STEP;
    }
    return record;
}

size_t series_kinds(enum rule_kind ret[RULE_KIND_COUNT])
{
    size_t n = 0;
    for (enum rule_kind kind = 0; kind < RULE_KIND_COUNT; kind++) {
        bool is_of_rows = rule_vocabulary(kind)->needs & RULE_QUANTITY && kind != RULE_CHANGE && kind != RULE_DRIFT;
        if (is_of_rows)
            ret[n++] = kind;
    }
    return n;
}

struct record series_tidal(struct arena *arena, size_t n, uint64_t *state)
{
    struct record record;
    record_init(&record, arena, n, 1u << QUANTITY_LEVEL);
    int64_t time = 0;
    for (size_t i = 0; i < n; i++) {
        double noise = ((double)random_below(state, 201) - 100) / 10000;
        bool is_bad = random_below(state, 40) == 0;
        record.time[i] = time;
        record.value[QUANTITY_LEVEL][i] = is_bad ? NAN : cos(2 * M_PI * (double)time / (12.42 * HOUR_MS)) + noise;
        record.flag[QUANTITY_LEVEL][i] = is_bad ? FLAG_MISSING : random_below(state, 60) ? FLAG_PASS : FLAG_SUSPECT;
        bool is_pause = random_below(state, 120) == 0;
        time += is_pause ? (int64_t)random_below(state, 30) * HOUR_MS + MINUTE_MS : 30 * MINUTE_MS;
    }
    return record;
}
