/* SPDX-License-Identifier: MIT */
/* The key promise of the design: a span derived by itself, with what the service brings along, is the same as that part
 * of everything derived at once. And what follows from a pure function of facts: nothing depends on the date. */
#include "derive/derive.h"

#include "base/random.h"
#include "derive/logger_clock.h"
#include "derive/site.h"
#include "quality/quality.h"

#include <criterion/criterion.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#define BIT(kind) (1u << (kind))
#define LEVELS (BIT(NOTE_LEVEL) | BIT(NOTE_TAPE_DOWN))
#define MOVES (BIT(NOTE_OUT_OF_WATER) | BIT(NOTE_IN_WATER))
#define CHECKS (BIT(NOTE_CHECK) | BIT(NOTE_CHECK_CLEANED) | BIT(NOTE_STANDARD))
#define SET_WITHIN (2 * HOUR_MS) /* of entering the water: derive/logger_clock.h */

static struct arena *arena;
static struct site site;

static void set_up(void)
{
    arena = arena_new();
}

static void tear_down(void)
{
    arena_free(arena);
}

TestSuite(derive_window, .init = set_up, .fini = tear_down);

/* ---- a random history: three weeks of a creek with visits ---- */

static double share(uint64_t *state)
{
    return (double)random_between(state, 0, 1000000) / 1e6;
}

static bool is_near_a_reading(int64_t time)
{
    for (size_t k = 0; k < site.note_count; k++)
        if (BIT(site.notes[k].kind) & (LEVELS | CHECKS) && llabs(site.notes[k].time - time) < 2 * HOUR_MS)
            return true;
    return false;
}

/* Before a logger is pulled: sensors against meters, cleaned, and in standards; now one sensor, now another. */
static void add_checks(uint64_t *state, int64_t visit)
{
    static const struct {
        enum quantity quantity;
        double usual;
    } sensors[] = {{QUANTITY_TEMPERATURE, 12}, {QUANTITY_SPECIFIC_CONDUCTANCE, 20}, {QUANTITY_OXYGEN, 8}};
    static const enum note_kind kinds[] = {NOTE_CHECK, NOTE_CHECK_CLEANED, NOTE_STANDARD};
    for (size_t k = 0; k < COUNT_OF(sensors); k++)
        for (size_t j = 0; j < COUNT_OF(kinds); j++) {
            if (random_index(state, 3) == 0)
                continue;
            int64_t at = visit - random_between(state, 1, 100) * MINUTE_MS;
            bool is_own = kinds[j] == NOTE_CHECK && random_index(state, 2);
            struct note *note =
                site_note(&site, kinds[j], at, is_own ? NAN : sensors[k].usual * (0.9 + 0.2 * share(state)));
            note->quantity = sensors[k].quantity;
            note->reference = sensors[k].usual * (0.9 + 0.2 * share(state));
        }
}

/* Water from 1 to 4 m over the sensor, in air only where a visit is noted; hand readings at visits and between. */
static void add_notes(uint64_t *state)
{
    int64_t end = site_row(&site, site.readings.n - 1), visit = SITE_START - random_between(state, -40, 40) * HOUR_MS;
    if (random_index(state, 2))
        site_note(&site, NOTE_IN_WATER, visit, NAN);
    int64_t error = 0;
    for (;;) {
        int64_t next = visit + random_between(state, 30, 260) * HOUR_MS + random_between(state, 0, 59) * MINUTE_MS;
        if (next > end + 60 * HOUR_MS)
            break;
        for (size_t k = random_index(state, 3); k > 0; k--) {
            int64_t at = visit + 4 * HOUR_MS + (int64_t)(share(state) * (double)(next - visit - 8 * HOUR_MS));
            bool by_tape = random_index(state, 3) == 0;
            site_note(&site, by_tape ? NOTE_TAPE_DOWN : NOTE_LEVEL, at, by_tape ? 3 + share(state) : 2 + share(state));
        }
        if (random_index(state, 2)) {
            error = random_between(state, -8, 8) * 30 * SECOND_MS;
            site_clock_check(&site, next - random_between(state, 0, 200) * MINUTE_MS, next + error);
            site_clock_check(&site, next - 1, next - 1 + error);
        } else if (random_index(state, 4) == 0) {
            site_clock_check(&site, next - HOUR_MS, next + HOUR_MS);
        }
        if (random_index(state, 3))
            add_checks(state, next);
        int64_t stay = random_between(state, 1, random_index(state, 4) == 0 ? 3000 : 90) * MINUTE_MS;
        if (random_index(state, 5)) {
            site_note(&site, NOTE_LEVEL, next - 5 * MINUTE_MS, 2 + share(state));
            site_note(&site, NOTE_LEVEL, next + stay + 25 * MINUTE_MS, 2 + share(state));
        }
        site_note(&site, NOTE_OUT_OF_WATER, next, NAN);
        if (random_index(state, 12))
            site_note(&site, NOTE_IN_WATER, next + stay, NAN);
        visit = next + stay;
    }
    for (size_t k = random_index(state, 4); k > 0; k--) {
        struct span span = {SITE_START + (int64_t)(share(state) * (double)(end - SITE_START)), 0};
        span.to = span.from + random_between(state, 1, 60) * HOUR_MS;
        site_span_note(&site, random_index(state, 3) ? NOTE_STRIKE : NOTE_RESTORE, span,
                       random_index(state, 2) ? QUANTITY_COUNT : (enum quantity)random_index(state, QUANTITY_COUNT));
    }
}

static void add_values(uint64_t *state)
{
    struct readings *r = &site.readings;
    for (size_t i = 0; i < r->n; i++) {
        double hours = (double)(r->time[i] - SITE_START) / (double)HOUR_MS;
        double depth = 2.5 + 1.3 * sin(hours / 2) + (random_index(state, 300) == 0 ? 0.3 : 0);
        bool flat = sin(hours / 20) > 0.8;
        r->value[QUANTITY_WATER_PRESSURE][i] = SITE_AIR + 9800 * (flat ? 2.5 : depth);
        r->value[QUANTITY_TEMPERATURE][i] = flat ? 12 : 12 + 4 * sin(hours / 4) + 0.1 * share(state);
        r->value[QUANTITY_SPECIFIC_CONDUCTANCE][i] = random_index(state, 100) == 0 ? 120 : 20 + 15 * sin(hours / 2);
        r->value[QUANTITY_OXYGEN][i] = flat ? 8 : 8 + 3 * sin(hours / 4) + (random_index(state, 200) == 0 ? 5 : 0);
        for (enum quantity q = 0; q < QUANTITY_COUNT; q++)
            if (r->value[q] && random_index(state, 60) == 0 && !is_near_a_reading(r->time[i]))
                r->value[q][i] = NAN;
    }
}

/* Pauses of the logger and of the barometers, which spare what ties the level. */
static void cut_rows(uint64_t *state, struct readings *r)
{
    struct readings kept;
    readings_init(&kept, arena, r->n, readings_columns(r));
    size_t n = 0, left_out = 0;
    for (size_t i = 0; i < r->n; i++) {
        if (random_index(state, 400) == 0)
            left_out = random_index(state, random_index(state, 3) == 0 ? 300 : 30);
        if (left_out > 0 && !is_near_a_reading(r->time[i])) {
            left_out--;
            continue;
        }
        kept.time[n] = r->time[i];
        for (enum quantity q = 0; q < QUANTITY_COUNT; q++)
            if (r->value[q])
                kept.value[q][n] = r->value[q][i];
        n++;
    }
    kept.n = n;
    *r = kept;
}

static void make_history(uint64_t *state)
{
    const int64_t intervals[] = {10 * MINUTE_MS, 15 * MINUTE_MS, 30 * MINUTE_MS, HOUR_MS};
    int64_t interval = intervals[random_index(state, COUNT_OF(intervals))];
    site_init(&site, arena, (size_t)(21 * DAY_MS / interval), interval,
              BIT(QUANTITY_WATER_PRESSURE) | BIT(QUANTITY_TEMPERATURE) | BIT(QUANTITY_SPECIFIC_CONDUCTANCE) |
                  BIT(QUANTITY_OXYGEN));
    site.station.salinity_source = SALINITY_MEASURED;
    site.station.salinity = random_index(state, 2) ? 10 : NAN;
    site.station.sensor_elevation = random_index(state, 2) ? 0.3 : NAN;
    site.station.tape_point = 6;
    site.station.settling = random_between(state, 0, 2) * 30 * MINUTE_MS;
    site.station.interval = interval;
    site.source_count = 2;
    add_notes(state);
    add_values(state);
    cut_rows(state, &site.readings);
    cut_rows(state, &site.sources[0].readings);
}

/* ---- what the service brings along for a span ---- */

static bool is_clock_anchor(const struct note *note)
{
    return note->kind == NOTE_IN_WATER || (note->kind == NOTE_CLOCK && llabs(note->until - note->time) < CLOCK_SLIP);
}

/* Of a sensor that is corrected. */
static bool is_check(const struct note *note, enum quantity quantity)
{
    return BIT(note->kind) & CHECKS && note->quantity == quantity;
}

static bool is_of(const struct note *note, uint32_t kinds)
{
    return kinds == BIT(NOTE_CLOCK) ? is_clock_anchor(note) : BIT(note->kind) & kinds;
}

/* The last note of these kinds before `time`, the first at or after it; NULL without one. */
static const struct note *note_before(uint32_t kinds, int64_t time)
{
    const struct note *found = NULL;
    for (size_t k = 0; k < site.note_count && site.notes[k].time < time; k++)
        if (is_of(&site.notes[k], kinds))
            found = &site.notes[k];
    return found;
}

static const struct note *note_after(uint32_t kinds, int64_t time)
{
    for (size_t k = 0; k < site.note_count; k++)
        if (site.notes[k].time >= time && is_of(&site.notes[k], kinds))
            return &site.notes[k];
    return NULL;
}

/* A copy, in which a column without any value is left out, as the store leaves it out. */
static struct readings load(const struct readings *from, struct span span)
{
    struct readings view = readings_between(from, span.from, span.to), copy, joined;
    uint32_t columns = 0;
    for (enum quantity q = 0; q < QUANTITY_COUNT; q++)
        for (size_t i = 0; view.value[q] && i < view.n; i++)
            columns |= isnan(view.value[q][i]) ? 0 : BIT(q);
    readings_init(&copy, arena, view.n, columns);
    for (size_t i = 0; i < view.n; i++) {
        copy.time[i] = view.time[i];
        for (enum quantity q = 0; q < QUANTITY_COUNT; q++)
            if (copy.value[q])
                copy.value[q][i] = view.value[q][i];
    }
    struct readings none = {0};
    struct merge_result ignored;
    readings_merge(&none, &copy, arena, &joined, &ignored);
    return joined;
}

static void add_stretch(struct readings *rows, struct span span)
{
    struct readings stretch = load(&site.readings, span), joined;
    struct merge_result ignored;
    readings_merge(rows, &stretch, arena, &joined, &ignored);
    *rows = joined;
}

/* From the first to the last note of the visits of each sensor that are the nearest before and after the rows. */
static struct span visits_around(struct span rows)
{
    static const enum quantity sensors[] = {QUANTITY_TEMPERATURE, QUANTITY_SPECIFIC_CONDUCTANCE, QUANTITY_OXYGEN};
    struct span wide = rows;
    for (size_t s = 0; s < COUNT_OF(sensors); s++) {
        int64_t before = TIME_NONE, after = TIME_NONE, end = TIME_NONE;
        for (size_t k = 0; k < site.note_count; k++) {
            const struct note *note = &site.notes[k];
            if (!is_check(note, sensors[s]))
                continue;
            bool begins = end == TIME_NONE || note->time - end > VISIT_LENGTH;
            end = note->time;
            if (note->time < rows.from)
                before = begins ? note->time : before;
            else if (note->time >= rows.to && (after == TIME_NONE || !begins))
                after = note->time;
            else if (note->time >= rows.to)
                break;
        }
        wide.from = before != TIME_NONE && before < wide.from ? before : wide.from;
        wide.to = after != TIME_NONE && after >= wide.to ? after + 1 : wide.to;
    }
    return wide;
}

/* The samples beside the checks of all visits that may correct one of the rows, those around the hand readings
 * included: what a sensor itself said then is taken from them. */
static void add_visits(struct readings *ret)
{
    if (ret->n == 0)
        return;
    const struct span visits = visits_around((struct span){ret->time[0], ret->time[ret->n - 1] + 1});
    for (size_t k = 0; k < site.note_count; k++) {
        const struct note *note = &site.notes[k];
        if (BIT(note->kind) & CHECKS && note->time >= visits.from && note->time < visits.to)
            add_stretch(ret, (struct span){note->time - 2 * site.interval, note->time + 2 * site.interval + 1});
    }
}

static void add_notes_of(struct derive_input *input, struct span rows)
{
    const struct readings *r = &input->readings;
    if (r->n > 0) {
        rows.from = r->time[0] < rows.from ? r->time[0] : rows.from;
        rows.to = r->time[r->n - 1] >= rows.to ? r->time[r->n - 1] + 1 : rows.to;
    }
    struct span wide = {rows.from - HOUR_MS, rows.to + HOUR_MS};
    const struct span visits = visits_around(rows);
    wide.from = visits.from < wide.from ? visits.from : wide.from;
    wide.to = visits.to > wide.to ? visits.to : wide.to;
    const uint32_t kinds[] = {MOVES, BIT(NOTE_IN_WATER), BIT(NOTE_CLOCK)};
    for (size_t k = 0; k < COUNT_OF(kinds); k++) {
        const struct note *before = note_before(kinds[k], rows.from), *after = note_after(kinds[k], rows.to);
        if (before && before->time - SET_WITHIN < wide.from)
            wide.from = before->time - SET_WITHIN;
        if (after && after->time + SET_WITHIN >= wide.to)
            wide.to = after->time + SET_WITHIN + 1;
    }
    struct note *notes = arena_array(arena, site.note_count + 1, sizeof *notes);
    for (size_t k = 0; k < site.note_count; k++) {
        const struct note *note = &site.notes[k];
        bool spans = note->kind == NOTE_STRIKE || note->kind == NOTE_RESTORE;
        if (note->time < wide.to && (spans || note->time >= wide.from))
            notes[input->note_count++] = *note;
    }
    input->notes = notes;
}

/* The nearest hand readings to both sides that tie a level: one without usable samples beside it ties nothing. */
static void add_ties(const struct derived *whole, struct span rows, struct readings *ret)
{
    const struct note *before = NULL, *after = NULL;
    for (size_t k = 0; k < site.note_count; k++) {
        const struct note *note = &site.notes[k];
        bool ties = false;
        for (size_t c = 0; c < whole->check_count; c++)
            ties |= whole->checks[c].quantity == QUANTITY_LEVEL && whole->checks[c].note == note->id;
        if (ties && note->time < rows.from + HOUR_MS)
            before = note;
        if (ties && note->time >= rows.to - HOUR_MS && !after)
            after = note;
    }
    if (before)
        add_stretch(ret, (struct span){before->time - HOUR_MS, before->time + HOUR_MS});
    if (after)
        add_stretch(ret, (struct span){after->time - HOUR_MS, after->time + HOUR_MS});
}

static struct derive_input bring(const struct derived *whole, struct span span)
{
    struct span rows = {span.from - quality_lead_in(&site.config, &site.station) - site.station.settling,
                        span.to + quality_lead_out()};
    struct derive_input input = {.config = &site.config, .station = &site.station};
    input.readings = load(&site.readings, rows);
    add_ties(whole, rows, &input.readings);
    add_visits(&input.readings);
    add_notes_of(&input, rows);
    struct air_source *sources = arena_array(arena, 2, sizeof *sources);
    input.sources = sources;
    input.source_count = site.source_count;
    const struct readings *r = &input.readings;
    for (size_t k = 0; k < site.source_count && r->n > 0; k++) {
        int64_t reach = derive_air_reach(&site.config);
        sources[k] = site.sources[k];
        sources[k].readings =
            load(&site.sources[k].readings, (struct span){r->time[0] - reach, r->time[r->n - 1] + reach + 1});
    }
    return input;
}

/* ---- the comparison ---- */

static bool is_same(double a, double b)
{
    return a == b || (isnan(a) && isnan(b));
}

static size_t expect_same_rows(const struct record *part, const struct record *whole, struct span span, int round)
{
    struct record a = record_between(part, span.from, span.to), b = record_between(whole, span.from, span.to);
    cr_assert_eq(a.n, b.n, "round %d: %zu rows by itself, %zu of the whole", round, a.n, b.n);
    for (size_t i = 0; i < a.n; i++) {
        cr_assert(a.time[i] == b.time[i] && a.raw_time[i] == b.raw_time[i], "round %d, row %zu of %zu: time", round, i,
                  a.n);
        cr_assert_eq(a.barometer[i], b.barometer[i], "round %d, row %zu of %zu: barometer", round, i, a.n);
        for (enum quantity q = 0; q < QUANTITY_COUNT; q++) {
            if (!a.value[q] || !b.value[q]) {
                const double *only = a.value[q] ? a.value[q] : b.value[q];
                cr_assert(!only || isnan(only[i]), "round %d: %s is in one only", round, quantity_info(q)->key);
                continue;
            }
            const char *what = quantity_info(q)->key;
            cr_assert(is_same(a.value[q][i], b.value[q][i]),
                      "round %d, row %zu of %zu: %s %.9g by itself, %.9g of the whole", round, i, a.n, what,
                      a.value[q][i], b.value[q][i]);
            cr_assert_eq(a.flag[q][i], b.flag[q][i],
                         "round %d, row %zu of %zu: %s is flagged %u by itself, %u of the whole", round, i, a.n, what,
                         a.flag[q][i], b.flag[q][i]);
            cr_assert_eq(a.tests[q][i], b.tests[q][i],
                         "round %d, row %zu of %zu: %s has tests %x by itself, %x of the whole", round, i, a.n, what,
                         a.tests[q][i], b.tests[q][i]);
            cr_assert(!a.uncertainty[q] || !b.uncertainty[q] || is_same(a.uncertainty[q][i], b.uncertainty[q][i]),
                      "round %d, row %zu of %zu: uncertainty of %s", round, i, a.n, what);
        }
    }
    return a.n;
}

/* Closings of hand readings within the span. */
static size_t expect_same_checks(const struct derived *part, const struct derived *whole, struct span span, int round)
{
    size_t j = 0, n = 0;
    for (size_t i = 0; i < whole->check_count; i++) {
        const struct check_result *b = &whole->checks[i];
        if (b->quantity != QUANTITY_LEVEL || b->time < span.from || b->time >= span.to)
            continue;
        while (j < part->check_count &&
               (part->checks[j].quantity != QUANTITY_LEVEL || part->checks[j].time < span.from))
            j++;
        cr_assert_lt(j, part->check_count, "round %d: a check is missing", round);
        const struct check_result *a = &part->checks[j++];
        cr_assert(a->time == b->time && a->note == b->note && a->kind == b->kind && a->is_first == b->is_first,
                  "round %d", round);
        cr_assert(is_same(a->sensor, b->sensor) && is_same(a->difference, b->difference), "round %d", round);
        n++;
    }
    return n;
}

static size_t count_corrected(const struct record *record)
{
    size_t n = 0;
    for (enum quantity q = 0; q < QUANTITY_COUNT; q++)
        for (size_t i = 0; record->value[q] && i < record->n; i++)
            n += (record->tests[q][i] & TEST_CORRECTED) != 0;
    return n;
}

Test(derive_window, a_span_derived_by_itself_is_the_same_as_that_part_of_the_whole)
{
    uint64_t state = 20260303;
    size_t compared = 0, tied = 0, checked = 0, corrected = 0;
    for (int round = 0; round < 120; round++) {
        arena_reset(arena);
        make_history(&state);
        struct derived whole = site_derive(&site);
        corrected += count_corrected(&whole.record);
        const double *level = whole.record.value[QUANTITY_LEVEL];
        for (size_t i = 0; i < whole.record.n; i++)
            tied += level && !isnan(level[i]);
        for (int look = 0; look < 8; look++) {
            struct span span = {.from = site_row(&site, random_index(&state, site.readings.n))};
            span.to = span.from + random_between(&state, 1, 120) * HOUR_MS;
            const struct derive_input input = bring(&whole, span);
            struct derived part = site_derive_input(arena, &input);
            cr_assert_eq(part.interval, whole.interval);
            compared += expect_same_rows(&part.record, &whole.record, span, round);
            checked += expect_same_checks(&part, &whole, span, round);
        }
    }
    cr_expect_gt(compared, 50000);
    cr_expect_gt(tied, 50000);
    cr_expect_gt(checked, 100);
    cr_expect_gt(corrected, 10000);
}

Test(derive_window, the_interval_is_found_alike_in_a_span_and_in_the_whole)
{
    uint64_t state = 8;
    for (int round = 0; round < 40; round++) {
        arena_reset(arena);
        make_history(&state);
        site.station.interval = 0;
        struct derived whole = site_derive(&site);
        struct span span = {.from = site_row(&site, random_index(&state, site.readings.n / 2))};
        span.to = span.from + 48 * HOUR_MS;
        const struct derive_input input = bring(&whole, span);
        struct derived part = site_derive_input(arena, &input);
        cr_assert_eq(part.interval, whole.interval, "round %d", round);
    }
}

static void shift(int64_t *time, size_t n, int64_t by)
{
    for (size_t i = 0; i < n; i++)
        time[i] += by;
}

Test(derive_window, nothing_depends_on_the_date)
{
    uint64_t state = 12;
    for (int round = 0; round < 20; round++) {
        arena_reset(arena);
        make_history(&state);
        struct derived before = site_derive(&site);
        int64_t by = random_between(&state, -9000, 9000) * DAY_MS;
        shift(site.readings.time, site.readings.n, by);
        for (size_t k = 0; k < site.source_count; k++)
            shift(site.sources[k].readings.time, site.sources[k].readings.n, by);
        for (size_t k = 0; k < site.note_count; k++) {
            site.notes[k].time += by;
            site.notes[k].until += site.notes[k].until == TIME_NONE ? 0 : by;
        }
        struct derived after = site_derive(&site);
        shift(after.record.time, after.record.n, -by);
        shift(after.record.raw_time, after.record.n, -by);
        struct span all = {TIME_NONE, TIME_FOREVER};
        cr_assert_eq(expect_same_rows(&after.record, &before.record, all, round), site.readings.n);
    }
}

Test(derive_window, the_same_input_gives_the_same_output)
{
    uint64_t state = 13;
    make_history(&state);
    struct derived once = site_derive(&site), again = site_derive(&site);
    struct span all = {TIME_NONE, TIME_FOREVER};
    cr_expect_eq(expect_same_rows(&again.record, &once.record, all, 0), site.readings.n);
    cr_expect_eq(again.waiting_count, once.waiting_count);
}
