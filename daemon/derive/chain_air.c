/* SPDX-License-Identifier: MIT */
/* The steps of the chain that are about air: its pressure at the station, and the sensor that hangs in it. */
#include "base/text.h"
#include "base/timestamp.h"
#include "derive/chain.h"
#include "derive/findings.h"
#include "derive/hand_over.h"
#include "derive/rows.h"
#include "derive/water.h"
#include "derive/zero.h"
#include "model/flags.h"
#include "science/screening.h"

#include <math.h>
#include <string.h>

static void hand_air_over(struct chain *c);
static void tell_air(struct chain *c, size_t first, size_t last);
static void tell_hand_over(struct chain *c, size_t i);
static void tell_wet(struct chain *c, const double *conductivity);
static const struct note *move_before(const struct chain *c, int64_t time);
static void tell_wet_stretch(struct chain *c, struct span span, bool has_conductivity);
static void find_zero(struct chain *c, const struct instrument_period *period, double *off);
static void tell_zero(struct chain *c, const struct zero_error *error);

void chain_step_air(struct chain *c)
{
    air_pressure_at(c->n, c->record->time, c->input->source_count, c->input->sources, c->station->elevation, c->gravity,
                    c->input->config->largest_air_gap, c->air, c->record->barometer, c->air_gap);
    hand_air_over(c);
    record_add_column(c->record, c->arena, QUANTITY_AIR_PRESSURE);
    memcpy(c->record->value[QUANTITY_AIR_PRESSURE], c->air, c->n * sizeof(double));
    const struct quality_limits limits = config_quality(c->input->config, c->station, QUANTITY_AIR_PRESSURE);
    for (size_t i = 0; i < c->n; i++) {
        /* Before anything is computed with it, so that depth and saturation are no better than the air. */
        uint8_t range = (uint8_t)screening_gross_range(c->air[i], limits.sensor_min, limits.sensor_max,
                                                       limits.usual_min, limits.usual_max);
        if (range == FLAG_SUSPECT || range == FLAG_FAIL)
            rows_mark(c->record, QUANTITY_AIR_PRESSURE, i, TEST_GROSS_RANGE, range);
        if (isnan(c->air[i]))
            rows_mark(c->record, QUANTITY_AIR_PRESSURE, i, TEST_NO_AIR_PRESSURE, FLAG_MISSING);
        else if (c->air_gap[i] > c->input->config->good_air_gap)
            rows_mark(c->record, QUANTITY_AIR_PRESSURE, i, TEST_AIR_GAP, FLAG_SUSPECT);
    }
}

static void hand_air_over(struct chain *c)
{
    const struct hand_over_input input = {.source_count = c->input->source_count,
                                          .sources = c->input->sources,
                                          .elevation = c->station->elevation,
                                          .gravity = c->gravity,
                                          .largest_gap = c->input->config->largest_air_gap,
                                          .fade = c->input->config->hand_over};
    c->derived->air_shift = arena_array(c->arena, c->n, sizeof(double));
    hand_over_shifts(&input, c->n, c->record->time, c->record->barometer, c->derived->air_shift);
    for (size_t i = 0; i < c->n; i++)
        c->air[i] += c->derived->air_shift[i];
    for (size_t i = 0, first = 0; chain_has(c, QUANTITY_WATER_PRESSURE) && i < c->n; i++) {
        const uint32_t *barometer = c->record->barometer;
        bool is_last = i + 1 == c->n || c->record->time[i + 1] - c->record->time[i] > FINDING_PAUSE;
        if (is_last || barometer[i + 1] != barometer[i]) {
            tell_air(c, first, i);
            first = i + 1;
        }
        /* Rows that were not brought along may lie in a longer step, and the change among them. */
        if (!is_last && barometer[i + 1] != barometer[i] &&
            c->record->time[i + 1] - c->record->time[i] <= 2 * c->interval)
            tell_hand_over(c, i);
    }
}

/* Rows from `first` to `last` have one barometer. */
static void tell_air(struct chain *c, size_t first, size_t last)
{
    const struct air_source *source = chain_source(c->input, c->record->barometer[first]);
    if (!source)
        return;
    const struct barometer *b = source->barometer;
    double distance = distance_between(c->station->latitude, c->station->longitude, b->latitude, b->longitude);
    bool is_warm = source->readings.value[QUANTITY_AIR_TEMPERATURE] != NULL;
    const char *text = arena_printf(c->arena, "from '%s', %.1f km away, carried %+.1f m up with %s", b->id,
                                    distance / 1000, c->station->elevation - b->elevation,
                                    is_warm ? "its air temperature" : "the temperature of the standard atmosphere");
    findings_add(&c->derived->findings, c->arena,
                 &(struct finding){.kind = FINDING_AIR_PRESSURE,
                                   .span = {c->record->time[first], c->record->time[last] + 1},
                                   .quantity = QUANTITY_AIR_PRESSURE,
                                   .value = NAN,
                                   .uncertainty = NAN,
                                   .text = text});
}

/* Between rows `i` and `i` + 1. */
static void tell_hand_over(struct chain *c, size_t i)
{
    const struct air_source *before = chain_source(c->input, c->record->barometer[i]);
    const struct air_source *after = chain_source(c->input, c->record->barometer[i + 1]);
    if (!before || !after)
        return;
    double shift = before < after ? c->derived->air_shift[i + 1] : c->derived->air_shift[i];
    char fade[TIMESTAMP_SIZE];
    const char *text =
        shift != 0
            ? arena_printf(c->arena, "from '%s' to '%s': %+.2f hPa there takes out the step, and fades within %s",
                           before->barometer->id, after->barometer->id, shift / 100,
                           duration_print(c->input->config->hand_over, fade))
            : arena_printf(c->arena, "from '%s' to '%s', as they are", before->barometer->id, after->barometer->id);
    findings_add(&c->derived->findings, c->arena,
                 &(struct finding){.kind = FINDING_AIR_HANDED_OVER,
                                   .span = findings_moment(c->record->time[i + 1]),
                                   .quantity = QUANTITY_AIR_PRESSURE,
                                   .value = shift,
                                   .uncertainty = NAN,
                                   .text = text});
}

void chain_step_air_found(struct chain *c)
{
    if (!chain_has(c, QUANTITY_WATER_PRESSURE))
        return;
    c->gauge = arena_array(c->arena, c->n, sizeof *c->gauge);
    for (size_t i = 0; i < c->n; i++)
        c->gauge[i] = c->record->value[QUANTITY_WATER_PRESSURE][i] - c->air[i];
    const double *conductivity = chain_has(c, QUANTITY_CONDUCTIVITY) ? c->record->value[QUANTITY_CONDUCTIVITY] : NULL;
    tell_wet(c, conductivity); /* against what the notes alone say */
    water_detect(c->n, c->record->time, c->gauge, conductivity, c->station->settling, c->water);
    chain_mark_water(c);
}

static void tell_wet(struct chain *c, const double *conductivity)
{
    uint8_t *is_wet = arena_array(c->arena, c->n, sizeof *is_wet);
    const int64_t *time = c->record->time;
    water_find_wet(c->n, time, c->gauge, conductivity, c->water, is_wet);
    for (size_t i = 0, first = 0; i < c->n; i++) {
        const struct note *move = is_wet[i] ? move_before(c, time[i]) : NULL;
        if (!is_wet[i] || (move && move->kind == NOTE_IN_WATER)) { /* just in: struck since noted times are rounded */
            first = i + 1;
            continue;
        }
        bool is_last = i + 1 == c->n || !is_wet[i + 1] || time[i + 1] - time[i] > FINDING_PAUSE ||
                       move_before(c, time[i + 1]) != move;
        if (is_last)
            tell_wet_stretch(c, (struct span){time[first], time[i] + 1}, conductivity != NULL);
        first = is_last ? i + 1 : first;
    }
}

/* The last note up to `time` that says where the logger went; NULL: none did yet. */
static const struct note *move_before(const struct chain *c, int64_t time)
{
    const struct note *last = NULL;
    for (size_t k = 0; k < c->input->note_count && c->input->notes[k].time <= time; k++)
        if (1u << c->input->notes[k].kind & MOVE_NOTES)
            last = &c->input->notes[k];
    return last;
}

static void tell_wet_stretch(struct chain *c, struct span span, bool has_conductivity)
{
    char out[TIMESTAMP_SIZE];
    const struct note *move = move_before(c, span.from);
    const char *since = move ? arena_printf(c->arena, "since %s", timestamp_print(move->time, out))
                             : "before the first note of its going in";
    const char *text = arena_printf(c->arena,
                                    "the sensors say water where the field notes have the logger out of it (%s)%s: all "
                                    "that it measured is struck; note when it went in, and these rows count again",
                                    since, has_conductivity ? "" : ", or it lay far below its barometer");
    findings_add(&c->derived->findings, c->arena,
                 &(struct finding){.kind = FINDING_NOTED_IN_AIR,
                                   .span = span,
                                   .quantity = QUANTITY_COUNT,
                                   .value = NAN,
                                   .uncertainty = NAN,
                                   .wants_hand = true,
                                   .text = text});
}

/* ---- what the pressure sensor read in air ---- */

void chain_step_zero(struct chain *c)
{
    if (!chain_has(c, QUANTITY_WATER_PRESSURE))
        return;
    double *pressure = c->record->value[QUANTITY_WATER_PRESSURE];
    double *off = arena_array(c->arena, c->n, sizeof *off);
    c->derived->zero_uncertainty = arena_array(c->arena, c->n, sizeof *off);
    for (size_t k = 0; k < c->period_count; k++)
        find_zero(c, &c->periods[k], off);
    for (size_t i = 0; i < c->n; i++) {
        pressure[i] -= off[i];
        c->gauge[i] -= off[i];
        c->record->tests[QUANTITY_WATER_PRESSURE][i] |= off[i] != 0 ? TEST_CORRECTED : 0;
    }
    c->derived->zero = off;
}

/* The rows and notes of one instrument. */
static void find_zero(struct chain *c, const struct instrument_period *period, double *off)
{
    const struct instrument_input instruments = chain_instruments(c->input);
    struct note *notes;
    size_t note_count = instrument_notes(c->arena, &instruments, period, &notes);
    size_t first = record_at_or_after(c->record, period->from), last = record_at_or_after(c->record, period->to);
    const double *conductivity = c->record->value[QUANTITY_CONDUCTIVITY];
    const struct zero_input input = {.n = last - first,
                                     .time = c->record->time + first,
                                     .sensor = c->record->value[QUANTITY_WATER_PRESSURE] + first,
                                     .air = c->air + first,
                                     .conductivity = conductivity ? conductivity + first : NULL,
                                     .notes = notes,
                                     .note_count = note_count,
                                     .interval = c->interval,
                                     .settling = c->station->settling};
    struct zero_error *errors;
    size_t count = zero_errors(c->arena, &input, &errors);
    for (size_t k = 0; k < count; k++)
        tell_zero(c, &errors[k]);
    zero_corrections(&input, count, errors, c->station->zero_correction, off + first,
                     c->derived->zero_uncertainty + first);
}

static void tell_zero(struct chain *c, const struct zero_error *error)
{
    static const char *const done[] = {[ZERO_NONE] = "reported only",
                                       [ZERO_OFFSET] = "the error at the beginning of a stay is taken off",
                                       [ZERO_LINEAR] = "taken off, linear between both ends of the stay"};
    bool is_large = fabs(error->value) > c->station->zero_limit;
    const char *text = arena_printf(
        c->arena,
        "in air, %s the water, the pressure sensor reads %.2f hPa %s than the barometer, median of %zu "
        "samples, standard uncertainty %.2f hPa; %s%s",
        error->is_end ? "coming out of" : "before going into", fabs(error->value) / 100,
        error->value >= 0 ? "more" : "less", error->samples, error->uncertainty / 100,
        done[c->station->zero_correction], is_large ? "; beyond the limit: check or exchange the sensor" : "");
    findings_add(&c->derived->findings, c->arena,
                 &(struct finding){.kind = FINDING_ZERO_IN_AIR,
                                   .span = findings_moment(error->time),
                                   .quantity = QUANTITY_WATER_PRESSURE,
                                   .value = error->value,
                                   .uncertainty = error->uncertainty,
                                   .wants_hand = is_large,
                                   .text = text});
    c->derived->checks[c->derived->check_count++] = (struct check_result){.time = error->time,
                                                                          .quantity = QUANTITY_WATER_PRESSURE,
                                                                          .kind = CHECK_ZERO_IN_AIR,
                                                                          .note = error->note,
                                                                          .sensor = error->sensor,
                                                                          .reference = error->air,
                                                                          .difference = error->value};
}
