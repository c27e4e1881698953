/* SPDX-License-Identifier: MIT */
#include "derive/derive.h"

#include "base/text.h"
#include "base/timestamp.h"
#include "derive/chain.h"
#include "derive/decision.h"
#include "derive/hand_over.h"
#include "derive/logger_clock.h"
#include "derive/oxygen.h"
#include "derive/rating.h"
#include "derive/reference.h"
#include "derive/rows.h"
#include "derive/salt.h"
#include "derive/water.h"
#include "model/flags.h"
#include "science/density.h"
#include "science/gravity.h"
#include "science/level.h"
#include "science/statistics.h"

#include <assert.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

static int64_t find_interval(struct arena *arena, const struct derive_input *input);
static void correct_clocks(struct arena *arena, const struct derive_input *input, int64_t *ret_time);
static void step_instruments(struct chain *c);
static void tell_instruments(struct chain *c, const struct instrument_input *input);
static void tell_clocks(struct chain *c, const struct instrument_input *input);
static void tell_clock(struct chain *c, const struct clock_doubt *doubt);
static void step_water(struct chain *c);
static void mark_water_in(struct chain *c, enum quantity quantity);
static void step_conductivity(struct chain *c);
static void step_salinity(struct chain *c);
static void step_salinity_used(struct chain *c);
static void step_temperature_corrected(struct chain *c);
static void step_conductivity_corrected(struct chain *c);
static void step_oxygen_corrected(struct chain *c);
static void correct(struct chain *c, enum quantity quantity);
static void tell_disorder(struct chain *c, enum quantity quantity, const struct record *own, size_t note_count,
                          const struct note *notes);
static void step_depth(struct chain *c);
static void step_level(struct chain *c);
static size_t set_readings_aside(struct chain *c, size_t anchor_count, struct anchor *anchors, const double *depth);
static void weigh_anchor(struct chain *c, struct anchor *anchor, const double *depth);
static void step_oxygen(struct chain *c);
static void step_saturation(struct chain *c);
static struct oxygen_situation situation_of_oxygen(const struct chain *c);
static void step_decisions(struct chain *c);
static void step_uncertainty(struct chain *c);
static void step_checks(struct chain *c, uint32_t quantities);
static void place_situation(const struct derived *derived, const struct derive_input *input, size_t i,
                            struct level_situation *ret);
static void step_waiting(struct chain *c);
static void inherit(struct chain *c, enum quantity to, enum quantity from);
static void mark(struct chain *c, enum quantity quantity, size_t i, enum test test, uint8_t flag);
static const char *waiting_reason(struct chain *c);

void derive_begin(struct arena *arena, const struct derive_input *input, struct record *ret)
{
    const struct readings *r = &input->readings;
    record_init(ret, arena, r->n, readings_columns(r));
    if (r->n == 0)
        return;
    memcpy(ret->raw_time, r->time, r->n * sizeof *ret->raw_time);
    correct_clocks(arena, input, ret->time);
    for (enum quantity q = 0; q < QUANTITY_COUNT; q++) {
        if (!r->value[q])
            continue;
        memcpy(ret->value[q], r->value[q], r->n * sizeof(double));
        for (size_t i = 0; r->unread && i < r->n; i++)
            if (r->unread[i] >> q & 1)
                ret->tests[q][i] |= TEST_SYNTAX;
    }
}

/* Each logger has a clock of its own. */
static void correct_clocks(struct arena *arena, const struct derive_input *input, int64_t *ret_time)
{
    const struct instrument_input instruments = chain_instruments(input);
    const struct readings *r = &input->readings;
    struct instrument_period *periods;
    size_t count = instrument_periods(arena, &instruments, &periods);
    int64_t interval = find_interval(arena, input);
    for (size_t k = 0, first = 0; k < count && first < r->n; k++) {
        struct note *notes;
        size_t note_count = instrument_notes(arena, &instruments, &periods[k], &notes), last = first;
        while (last < r->n && r->time[last] < periods[k].to)
            last++;
        logger_clock_correct(arena, last - first, r->time + first, note_count, notes, interval, ret_time + first);
        for (; first < last; first++) /* also where one clock was ahead and the next is behind */
            if (first > 0 && ret_time[first] <= ret_time[first - 1])
                ret_time[first] = ret_time[first - 1] + 1;
    }
}

void derive_finish(struct arena *arena, const struct derive_input *input, struct record *measured, struct derived *ret)
{
    *ret = (struct derived){.record = *measured, .interval = find_interval(arena, input)};
    size_t n = measured->n;
    struct chain c = {
        .arena = arena,
        .input = input,
        .station = input->station,
        .record = &ret->record,
        .n = n,
        .gravity = gravity_at(input->station->latitude, input->station->elevation),
        .water = arena_array(arena, n, sizeof *c.water),
        .deployment = arena_array(arena, n, sizeof *c.deployment),
        .salinity = arena_array(arena, n, sizeof *c.salinity),
        .salinity_flag = arena_array(arena, n, sizeof *c.salinity_flag),
        .salinity_tests = arena_array(arena, n, sizeof *c.salinity_tests),
        .air = arena_array(arena, n, sizeof *c.air),
        .air_gap = arena_array(arena, n, sizeof *c.air_gap),
        .interval = ret->interval,
        .derived = ret,
    };
    ret->checks = arena_array(arena, 5 * input->note_count + 1, sizeof *ret->checks);
    ret->corrections = arena_array(arena, 3 * input->note_count + 1, sizeof *ret->corrections);
    ret->salinity_used = c.salinity;
    ret->salinity_used_uncertainty = arena_array(arena, n, sizeof(double));
    ret->air_gap = c.air_gap;
    step_water(&c);
    step_instruments(&c);
    step_decisions(&c); /* of what was measured, so that nothing is computed from it */
    step_temperature_corrected(&c);
    step_conductivity(&c);
    step_conductivity_corrected(&c);
    step_salinity(&c);
    step_salinity_used(&c);
    chain_step_air(&c);
    chain_step_air_found(&c);
    chain_step_zero(&c);
    step_depth(&c);
    step_level(&c);
    step_oxygen(&c);
    step_oxygen_corrected(&c);
    step_saturation(&c);
    step_checks(&c, 1u << QUANTITY_SALINITY | 1u << QUANTITY_DEPTH);
    step_decisions(&c);
    step_uncertainty(&c);
    rating_of_days(arena, &ret->record, ret->correction_count, ret->corrections, c.station->utc_offset, &ret->findings);
    step_waiting(&c);
}

int64_t derive_air_reach(const struct config *config)
{
    return config->largest_air_gap + hand_over_reach(config->hand_over);
}

/* The median of all steps that are no pause: neither a pause, nor a logger started twice, nor a few rows of another
 * time that came along moves it. */
static int64_t find_interval(struct arena *arena, const struct derive_input *input)
{
    const int64_t longest = 6 * HOUR_MS, usual = 15 * MINUTE_MS;
    const struct readings *r = &input->readings;
    if (input->station->interval > 0)
        return input->station->interval;
    int64_t step = statistics_usual_step(r->n, r->time, longest, arena_room(arena, r->n + 1, sizeof(double)));
    return step > 0 ? step : usual;
}

/* ---- in or out of water ---- */

static void step_water(struct chain *c)
{
    water_states(c->n, c->record->time, c->input->note_count, c->input->notes, c->interval, c->station->settling,
                 c->water, c->deployment);
    chain_mark_water(c);
}

/* ---- which instrument ---- */

/* Another instrument hangs differently: it begins a deployment, also where nobody noted that one came out. */
static void step_instruments(struct chain *c)
{
    const struct instrument_input input = chain_instruments(c->input);
    c->period_count = instrument_periods(c->arena, &input, &c->periods);
    uint32_t changes = 0, number = 0, before = 0;
    size_t at = 0;
    for (size_t i = 0; i < c->n; i++) {
        bool has_changed = false;
        for (; at + 1 < c->period_count && c->record->raw_time[i] >= c->periods[at].to; at++)
            has_changed = true;
        changes += has_changed && i > 0 && c->deployment[i] == before;
        before = c->deployment[i];
        number = before + changes;
        c->deployment[i] = number;
    }
    tell_instruments(c, &input);
    tell_clocks(c, &input);
}

/* Of each logger by itself, as its rows were moved. */
static void tell_clocks(struct chain *c, const struct instrument_input *input)
{
    for (size_t k = 0; k < c->period_count; k++) {
        struct note *notes;
        struct clock_doubt *doubts;
        size_t note_count = instrument_notes(c->arena, input, &c->periods[k], &notes);
        size_t count = logger_clock_doubts(c->arena, note_count, notes, c->interval, &doubts);
        for (size_t i = 0; i < count; i++)
            tell_clock(c, &doubts[i]);
    }
}

static void tell_clock(struct chain *c, const struct clock_doubt *doubt)
{
    char by[TIMESTAMP_SIZE];
    const char *text = arena_printf(
        c->arena, "the logger's clock was noted %s %s true time: %s; %s", duration_print(llabs(doubt->error), by),
        doubt->error > 0 ? "ahead of" : "behind",
        doubt->is_zone ? "no drift, but a wrong zone or a daylight-saving slip, in the logger, its layout or the note"
                       : "more than a clock drifts by, or a slip of the pen",
        doubt->is_used
            ? "the rows were moved by it; confirm or correct the note, and look at the clock at the next visit"
            : "no row was moved; correct the zone of the layout or the note, and set the clock at the next visit");
    findings_add(&c->derived->findings, c->arena,
                 &(struct finding){.kind = FINDING_CLOCK_CHECK,
                                   .span = findings_moment(doubt->time),
                                   .quantity = QUANTITY_COUNT,
                                   .value = (double)doubt->error,
                                   .uncertainty = NAN,
                                   .wants_hand = true,
                                   .text = text});
}

static void tell_instruments(struct chain *c, const struct instrument_input *input)
{
    for (size_t i = 0, first = 0, at = 0; i < c->n; i++) {
        while (at + 1 < c->period_count && c->record->raw_time[i] >= c->periods[at].to)
            at++;
        bool is_last = i + 1 == c->n || c->record->raw_time[i + 1] >= c->periods[at].to ||
                       c->record->time[i + 1] - c->record->time[i] > FINDING_PAUSE;
        const struct instrument_period *p = &c->periods[at];
        if (is_last && *p->name)
            findings_add(&c->derived->findings, c->arena,
                         &(struct finding){.kind = FINDING_INSTRUMENT,
                                           .span = {c->record->time[first], c->record->time[i] + 1},
                                           .quantity = QUANTITY_COUNT,
                                           .value = NAN,
                                           .uncertainty = NAN,
                                           .text = arena_printf(c->arena, "'%s', by the %s", p->name,
                                                                p->is_noted ? "field notes" : "files")});
        first = is_last ? i + 1 : first;
    }
    struct instrument_stranger *strangers;
    size_t count = instrument_strangers(c->arena, input, c->period_count, c->periods, &strangers);
    for (size_t k = 0; k < count; k++) {
        const struct instrument_stranger *s = &strangers[k];
        const char *here = *s->noted ? arena_printf(c->arena, "the field notes have '%s' here", s->noted)
                                     : "the field notes name none here";
        const char *there = s->place ? arena_printf(c->arena, " and '%s' at '%s'", s->serial, s->place) : "";
        findings_add(
            &c->derived->findings, c->arena,
            &(struct finding){.kind = FINDING_STRANGE_INSTRUMENT,
                              .span = s->span,
                              .quantity = QUANTITY_COUNT,
                              .value = NAN,
                              .uncertainty = NAN,
                              .wants_hand = true,
                              .text = arena_printf(c->arena,
                                                   "file '%s' is of '%s', but %s%s: swapped or mislabelled; correct "
                                                   "the notes, or where the file belongs",
                                                   s->path, s->serial, here, there)});
    }
}

/* ---- in air ---- */

/* Every measured column that air harms. Marking twice changes nothing. */
void chain_mark_water(struct chain *c)
{
    for (enum quantity q = 0; q < QUANTITY_COUNT; q++)
        if (chain_has(c, q) && !quantity_is(q, QUANTITY_IN_AIR_TOO))
            mark_water_in(c, q);
}

static void mark_water_in(struct chain *c, enum quantity quantity)
{
    for (size_t i = 0; i < c->n; i++) {
        switch ((enum water_state)c->water[i]) {
        case WATER_IN: break;
        case WATER_SETTLING: mark(c, quantity, i, TEST_SETTLING, FLAG_SUSPECT); break;
        case WATER_DOUBTED: mark(c, quantity, i, TEST_IN_AIR, FLAG_SUSPECT); break;
        case WATER_AIR: mark(c, quantity, i, TEST_IN_AIR, FLAG_FAIL); break;
        }
    }
}

/* ---- fouling and drift of the sensors: what a check shows is as found, before anything is corrected ---- */

static void step_temperature_corrected(struct chain *c)
{
    step_checks(c, 1u << QUANTITY_TEMPERATURE);
    correct(c, QUANTITY_TEMPERATURE);
}

static void step_conductivity_corrected(struct chain *c)
{
    step_checks(c, 1u << QUANTITY_CONDUCTIVITY | 1u << QUANTITY_SPECIFIC_CONDUCTANCE);
    if (!chain_has(c, QUANTITY_CONDUCTIVITY) ||
        !chain_has(c, QUANTITY_SPECIFIC_CONDUCTANCE)) /* without a thermometer */
        return;
    double *specific = c->record->value[QUANTITY_SPECIFIC_CONDUCTANCE];
    double *as_found = arena_array(c->arena, c->n, sizeof *as_found);
    memcpy(as_found, specific, c->n * sizeof *as_found);
    correct(c, QUANTITY_SPECIFIC_CONDUCTANCE);
    for (size_t i = 0; i < c->n; i++) /* the sensor is one: what is in situ moves with what is at 25 degC */
        if (!isnan(specific[i]) && specific[i] != as_found[i] && as_found[i] != 0)
            c->record->value[QUANTITY_CONDUCTIVITY][i] *= specific[i] / as_found[i];
    inherit(c, QUANTITY_CONDUCTIVITY, QUANTITY_SPECIFIC_CONDUCTANCE);
    for (size_t i = 0; i < c->n; i++) /* salinity moves as conductivity does, within a few per cent of the change */
        as_found[i] = specific[i] != 0 ? (specific[i] - as_found[i]) / specific[i] : 0;
    c->salinity_change = as_found; /* relative */
}

static void step_oxygen_corrected(struct chain *c)
{
    if (!chain_has(c, QUANTITY_OXYGEN))
        return;
    step_checks(c, 1u << QUANTITY_OXYGEN);
    const double *oxygen = c->record->value[QUANTITY_OXYGEN];
    c->oxygen_change = arena_array(c->arena, c->n, sizeof *c->oxygen_change);
    for (size_t i = 0; i < c->n; i++)
        c->oxygen_change[i] = -oxygen[i];
    correct(c, QUANTITY_OXYGEN);
    for (size_t i = 0; i < c->n; i++)
        c->oxygen_change[i] += oxygen[i];
}

static void correct(struct chain *c, enum quantity quantity)
{
    const struct instrument_input input = chain_instruments(c->input);
    for (size_t k = 0; chain_has(c, quantity) && k < c->period_count; k++) {
        const struct instrument_period *p = &c->periods[k];
        const struct record own = record_between(c->record, p->from, p->to);
        struct correction *found;
        struct note *notes;
        size_t note_count = instrument_notes(c->arena, &input, p, &notes);
        tell_disorder(c, quantity, &own, note_count, notes);
        size_t count = corrections_find(c->arena, quantity, &own, note_count, notes, 2 * c->interval, &found);
        corrections_apply(count, found, c->record);
        if (count > 0)
            memcpy(c->derived->corrections + c->derived->correction_count, found, count * sizeof *found);
        c->derived->correction_count += count;
    }
}

static void tell_disorder(struct chain *c, enum quantity quantity, const struct record *own, size_t note_count,
                          const struct note *notes)
{
    struct checks_disordered *list;
    size_t count = corrections_disordered(c->arena, quantity, own, note_count, notes, 2 * c->interval, &list);
    for (size_t k = 0; k < count; k++) {
        char cleaned[TIMESTAMP_SIZE];
        const char *text = arena_printf(c->arena,
                                        "the sensor was read as found after it was cleaned (%s): what the visit shows "
                                        "of fouling and drift is not used; correct a time in the field notes",
                                        timestamp_print(list[k].cleaned, cleaned));
        findings_add(&c->derived->findings, c->arena,
                     &(struct finding){.kind = FINDING_CHECKS_DISORDERED,
                                       .span = findings_moment(list[k].found),
                                       .quantity = quantity,
                                       .value = NAN,
                                       .uncertainty = NAN,
                                       .wants_hand = true,
                                       .text = text});
    }
}

/* ---- conductivity: whichever of the two the logger wrote, the other is computed ---- */

static void step_conductivity(struct chain *c)
{
    salt_complete_conductivity(c->arena, c->station, c->record);
    if (!isnan(c->station->oxygen_sensor_salinity) || !chain_has(c, QUANTITY_CONDUCTIVITY) ||
        !chain_has(c, QUANTITY_TEMPERATURE))
        return;
    c->told_salinity = arena_array(c->arena, c->n, sizeof *c->told_salinity); /* as found: before any correction */
    salt_sweep(c->n, c->record->value[QUANTITY_CONDUCTIVITY], c->record->value[QUANTITY_TEMPERATURE], c->told_salinity);
}

/* ---- practical salinity ---- */

static void step_salinity(struct chain *c)
{
    salt_compute_salinity(c->arena, c->record);
}

/* The salinity that density and oxygen are computed with. A failed conductivity must not become a density. */
static void step_salinity_used(struct chain *c)
{
    bool measures = c->station->salinity_source == SALINITY_MEASURED;
    const double *measured = measures && chain_has(c, QUANTITY_SALINITY) ? c->record->value[QUANTITY_SALINITY] : NULL;
    double stated = c->station->salinity_source == SALINITY_FRESH ? 0 : c->station->salinity;
    for (size_t i = 0; i < c->n; i++) {
        uint8_t flag = measured ? c->record->flag[QUANTITY_SALINITY][i] : FLAG_MISSING;
        if (measured && !isnan(measured[i]) && flag != FLAG_FAIL) {
            c->salinity[i] = measured[i];
            c->salinity_flag[i] = flag;
            c->salinity_tests[i] = c->record->tests[QUANTITY_SALINITY][i];
            c->derived->salinity_used_uncertainty[i] =
                budget_of_salinity(measured[i], c->salinity_change ? measured[i] * c->salinity_change[i] : 0);
            continue;
        }
        bool is_known = !isnan(stated);
        c->salinity[i] = is_known ? stated : 0;
        c->salinity_flag[i] = is_known ? FLAG_NOT_EVALUATED : FLAG_SUSPECT;
        c->salinity_tests[i] = c->station->salinity_source == SALINITY_FRESH ? 0 : TEST_ESTIMATED_SALINITY;
        c->derived->salinity_used_uncertainty[i] =
            c->station->salinity_source == SALINITY_FRESH ? BUDGET_FRESH_SALINITY : BUDGET_STATED_SALINITY;
    }
}

/* ---- water over the sensor ---- */

static void step_depth(struct chain *c)
{
    if (!chain_has(c, QUANTITY_WATER_PRESSURE))
        return;
    record_add_column(c->record, c->arena, QUANTITY_DEPTH);
    double *temperature = arena_array(c->arena, c->n, sizeof *temperature);
    const double *measured = chain_has(c, QUANTITY_TEMPERATURE) ? c->record->value[QUANTITY_TEMPERATURE] : NULL;
    for (size_t i = 0; i < c->n; i++) /* without a thermometer, water at 15 degC: 0.1 % of depth from 5 to 20 degC */
        temperature[i] = measured && !isnan(measured[i]) ? measured[i] : 15;
    depth_from_pressure_sweep(c->n, c->gauge, c->salinity, temperature, c->gravity, c->record->value[QUANTITY_DEPTH]);
    inherit(c, QUANTITY_DEPTH, QUANTITY_WATER_PRESSURE);
    inherit(c, QUANTITY_DEPTH, QUANTITY_AIR_PRESSURE);
    for (size_t i = 0; i < c->n; i++) {
        uint8_t doubt = c->salinity_flag[i] == FLAG_SUSPECT ? FLAG_SUSPECT : FLAG_NOT_EVALUATED;
        mark(c, QUANTITY_DEPTH, i, c->salinity_tests[i] & TEST_ESTIMATED_SALINITY, doubt);
    }
    mark_water_in(c, QUANTITY_DEPTH);
}

/* ---- level: depth tied to the hand readings ---- */

static void step_level(struct chain *c)
{
    if (!chain_has(c, QUANTITY_DEPTH))
        return;
    record_add_column(c->record, c->arena, QUANTITY_LEVEL);
    const double *depth = c->record->value[QUANTITY_DEPTH];
    double *in_water = arena_array(c->arena, c->n, sizeof *in_water);
    double *offset = arena_array(c->arena, c->n, sizeof *offset);
    uint8_t *is_borrowed = arena_array(c->arena, c->n, sizeof *is_borrowed);
    for (size_t i = 0; i < c->n; i++) /* a reading is tied to samples that nothing casts doubt on but settling */
        in_water[i] = c->water[i] >= WATER_DOUBTED || c->record->flag[QUANTITY_DEPTH][i] == FLAG_FAIL ? NAN : depth[i];
    struct anchor *anchors;
    size_t anchor_count = reference_anchors(c->arena, c->station, c->input->note_count, c->input->notes, c->n,
                                            c->record->time, in_water, c->deployment, &anchors);
    anchor_count = set_readings_aside(c, anchor_count, anchors, in_water);
    reference_offsets(c->n, c->record->time, c->deployment, anchor_count, anchors, c->station->sensor_elevation, offset,
                      is_borrowed);
    inherit(c, QUANTITY_LEVEL, QUANTITY_DEPTH);
    for (size_t i = 0; i < c->n; i++) {
        c->record->value[QUANTITY_LEVEL][i] = depth[i] + offset[i];
        if (isnan(offset[i]))
            mark(c, QUANTITY_LEVEL, i, TEST_NO_REFERENCE, FLAG_MISSING);
        else if (is_borrowed[i])
            mark(c, QUANTITY_LEVEL, i, TEST_NO_REFERENCE, FLAG_SUSPECT);
    }
    rating_of_level_days(c->arena, c->record, c->deployment, anchor_count, anchors, c->station->utc_offset,
                         &c->derived->findings);
    struct check_result *closings;
    size_t closing_count = reference_closings(c->arena, anchor_count, anchors, &closings);
    if (closing_count > 0)
        memcpy(c->derived->checks + c->derived->check_count, closings, closing_count * sizeof *closings);
    c->derived->check_count += closing_count;
    c->derived->offset = offset;
    c->derived->closing = arena_array(c->arena, c->n, sizeof(double));
    c->derived->change = arena_array(c->arena, c->n, sizeof(double));
    reference_doubts(c->n, c->record->time, depth, c->deployment, anchor_count, anchors, c->derived->closing,
                     c->derived->change);
}

static size_t set_readings_aside(struct chain *c, size_t anchor_count, struct anchor *anchors, const double *depth)
{
    for (size_t k = 0; k < anchor_count; k++)
        weigh_anchor(c, &anchors[k], depth);
    struct reading_set_aside *list;
    size_t count;
    anchor_count = reference_set_aside(c->arena, c->station->reading_limit, anchor_count, anchors, &list, &count);
    for (size_t k = 0; k < count; k++) {
        const struct anchor *a = &list[k].anchor;
        double difference = a->level - list[k].expected, datum = derive_datum_offset(c->station, a->time);
        const char *text = arena_printf(
            c->arena,
            "%s reading %.3f m stands %.3f m %s what its neighbours leave (%.3f m), %.0f standard "
            "uncertainties: set aside, it ties nothing; correct it in the field notes",
            a->kind == CHECK_TAPE_DOWN ? "tape" : "staff", a->level - datum, fabs(difference),
            difference > 0 ? "above" : "below", list[k].expected - datum, fabs(difference) / list[k].uncertainty);
        findings_add(&c->derived->findings, c->arena,
                     &(struct finding){.kind = FINDING_READING_SET_ASIDE,
                                       .span = findings_moment(a->time),
                                       .quantity = QUANTITY_LEVEL,
                                       .value = difference,
                                       .uncertainty = list[k].uncertainty,
                                       .wants_hand = true,
                                       .text = text});
    }
    return anchor_count;
}

/* How well level - depth is known there. Beyond the samples the depth is drawn on, which costs the more the further. */
static void weigh_anchor(struct chain *c, struct anchor *anchor, const double *depth)
{
    const double a_minute_beyond = 0.001; /* m; common practice of the trade: a tide turns by that much more or less */
    size_t nearest = c->n;
    size_t first = record_at_or_after(c->record, anchor->time - REFERENCE_REACH);
    for (size_t i = first; i < c->n && c->record->time[i] <= anchor->time + REFERENCE_REACH; i++) {
        bool is_usable = c->deployment[i] == anchor->deployment && !isnan(depth[i]);
        if (is_usable && (nearest == c->n ||
                          llabs(c->record->time[i] - anchor->time) < llabs(c->record->time[nearest] - anchor->time)))
            nearest = i;
    }
    assert(nearest < c->n);
    struct level_situation situation;
    place_situation(c->derived, c->input, nearest, &situation);
    double beyond = a_minute_beyond * (double)llabs(c->record->time[nearest] - anchor->time) / (double)MINUTE_MS;
    anchor->uncertainty = hypot(budget_of_level(&situation).total, beyond);
    anchor->salinity_uncertainty = situation.salinity_uncertainty;
}

/* ---- oxygen: undo what the sensor had been told, apply what was so ---- */

static void step_oxygen(struct chain *c)
{
    const struct oxygen_situation situation = situation_of_oxygen(c);
    oxygen_compute(c->arena, c->station, &situation, c->record);
}

static void step_saturation(struct chain *c)
{
    const struct oxygen_situation situation = situation_of_oxygen(c);
    oxygen_compute_saturation(c->arena, c->station, &situation, c->record);
}

static struct oxygen_situation situation_of_oxygen(const struct chain *c)
{
    return (struct oxygen_situation){.salinity = c->salinity,
                                     .salinity_flag = c->salinity_flag,
                                     .salinity_tests = c->salinity_tests,
                                     .told_salinity = c->told_salinity,
                                     .air = c->air};
}

/* ---- people's decisions outrank tests ---- */

static void step_decisions(struct chain *c)
{
    struct decisions decisions = decisions_find(c->arena, c->input->note_count, c->input->notes);
    decisions_apply(&decisions, c->record);
}

/* ---- side-by-side checks, as found ---- */

static void step_checks(struct chain *c, uint32_t quantities)
{
    for (size_t k = 0; k < c->input->note_count; k++) {
        const struct note *note = &c->input->notes[k];
        bool is_check = note->kind == NOTE_CHECK || note->kind == NOTE_CHECK_CLEANED || note->kind == NOTE_STANDARD;
        if (!is_check || note->quantity >= QUANTITY_COUNT || !(quantities >> note->quantity & 1) ||
            isnan(note->reference))
            continue;
        double sensor = note->value;
        if (isnan(sensor))
            sensor = record_value_at(c->record, note->quantity, note->time, 2 * c->interval);
        c->derived->checks[c->derived->check_count++] = (struct check_result){.time = note->time,
                                                                              .quantity = note->quantity,
                                                                              .kind = (enum check_kind)note->kind,
                                                                              .note = note->id,
                                                                              .sensor = sensor,
                                                                              .reference = note->reference,
                                                                              .difference = sensor - note->reference};
    }
}

/* ---- how good it is ---- */

static void step_uncertainty(struct chain *c)
{
    const struct record *r = c->record;
    if (chain_has(c, QUANTITY_SALINITY)) {
        record_add_uncertainty(c->record, c->arena, QUANTITY_SALINITY);
        for (size_t i = 0; i < c->n; i++) {
            double s = r->value[QUANTITY_SALINITY][i];
            r->uncertainty[QUANTITY_SALINITY][i] =
                budget_of_salinity(s, c->salinity_change ? s * c->salinity_change[i] : 0);
        }
    }
    if (chain_has(c, QUANTITY_OXYGEN) && c->oxygen_change) {
        record_add_uncertainty(c->record, c->arena, QUANTITY_OXYGEN);
        for (size_t i = 0; i < c->n; i++)
            r->uncertainty[QUANTITY_OXYGEN][i] = budget_of_oxygen(r->value[QUANTITY_OXYGEN][i], c->oxygen_change[i],
                                                                  c->derived->salinity_used_uncertainty[i]);
    }
    if (!chain_has(c, QUANTITY_LEVEL))
        return;
    record_add_uncertainty(c->record, c->arena, QUANTITY_LEVEL);
    for (size_t i = 0; i < c->n; i++) {
        struct level_situation situation;
        derive_level_situation(c->derived, c->input, i, &situation);
        bool is_known = !isnan(r->value[QUANTITY_LEVEL][i]);
        r->uncertainty[QUANTITY_LEVEL][i] = is_known ? budget_of_level(&situation).total : NAN;
    }
}

void derive_level_situation(const struct derived *derived, const struct derive_input *input, size_t i,
                            struct level_situation *ret)
{
    place_situation(derived, input, i, ret);
    ret->change = derived->change[i];
    ret->closing_size = derived->closing[i];
}

/* What is so at the row whatever ties it: change and closing error 0. */
static void place_situation(const struct derived *derived, const struct derive_input *input, size_t i,
                            struct level_situation *ret)
{
    const struct record *r = &derived->record;
    const struct air_source *source = chain_source(input, r->barometer[i]);
    double temperature = r->value[QUANTITY_TEMPERATURE] ? r->value[QUANTITY_TEMPERATURE][i] : 15;
    *ret = (struct level_situation){
        .depth = r->value[QUANTITY_DEPTH][i],
        .density = density_of_water(derived->salinity_used[i], isnan(temperature) ? 15 : temperature, 0),
        .gravity = gravity_at(input->station->latitude, input->station->elevation),
        .salinity_uncertainty = derived->salinity_used_uncertainty[i],
        .air_gap_hours = (double)derived->air_gap[i] / (double)HOUR_MS,
        .air_shift_pa = derived->air_shift ? derived->air_shift[i] : 0,
        .zero_pa = derived->zero_uncertainty ? derived->zero_uncertainty[i] : 0,
        .reading = input->station->reading_uncertainty,
    };
    if (!source)
        return;
    const struct barometer *b = source->barometer;
    ret->barometer_distance_km =
        distance_between(input->station->latitude, input->station->longitude, b->latitude, b->longitude) / 1000;
    ret->barometer_rise_m = input->station->elevation - b->elevation;
    ret->air_temperature_is_known = source->readings.value[QUANTITY_AIR_TEMPERATURE] != NULL;
}

/* ---- what waits for a barometer ---- */

static void step_waiting(struct chain *c)
{
    struct derived *ret = c->derived;
    if (!chain_has(c, QUANTITY_WATER_PRESSURE))
        return;
    const double *pressure = c->record->value[QUANTITY_WATER_PRESSURE];
    ret->waiting = arena_array(c->arena, c->n + 1, sizeof *ret->waiting);
    bool is_open = false;
    for (size_t i = 0; i < c->n; i++) {
        bool waits = !isnan(pressure[i]) && isnan(c->air[i]) && c->water[i] != WATER_AIR;
        if (waits && !is_open)
            ret->waiting[ret->waiting_count++] =
                (struct waiting_stretch){{c->record->time[i], c->record->time[i] + 1}, waiting_reason(c)};
        else if (waits)
            ret->waiting[ret->waiting_count - 1].span.to = c->record->time[i] + 1;
        is_open = waits;
    }
}

/* ---- helpers ---- */

bool chain_has(const struct chain *c, enum quantity quantity)
{
    return c->record->value[quantity] != NULL;
}

struct instrument_input chain_instruments(const struct derive_input *input)
{
    return (struct instrument_input){.readings = &input->readings,
                                     .notes = input->notes,
                                     .note_count = input->note_count,
                                     .serials = input->serials,
                                     .serial_count = input->serial_count,
                                     .elsewhere = input->elsewhere,
                                     .elsewhere_count = input->elsewhere_count};
}

/* NULL for NO_BAROMETER. */
const struct air_source *chain_source(const struct derive_input *input, uint32_t number)
{
    for (size_t k = 0; k < input->source_count && number != NO_BAROMETER; k++)
        if (input->sources[k].number == number)
            return &input->sources[k];
    return NULL;
}

static void inherit(struct chain *c, enum quantity to, enum quantity from)
{
    rows_inherit(c->record, to, from);
}

static void mark(struct chain *c, enum quantity quantity, size_t i, enum test test, uint8_t flag)
{
    rows_mark(c->record, quantity, i, test, flag);
}

static const char *waiting_reason(struct chain *c)
{
    if (c->input->source_count == 0)
        return "no barometer is named for the station and none lies within the pairing distance";
    struct text names;
    text_init(&names, 512);
    for (size_t k = 0; k < c->input->source_count; k++)
        text_printf(&names, "%s%s", k ? ", " : "", c->input->sources[k].barometer->id);
    const char *reason = arena_printf(c->arena, "no air pressure yet from %s", names.bytes);
    text_done(&names);
    return reason;
}
