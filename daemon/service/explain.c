/* SPDX-License-Identifier: MIT */
#include "service/explain.h"

#include "archive/json.h"
#include "base/timestamp.h"
#include "derive/decision.h"
#include "derive/derive.h"
#include "quality/describe.h"
#include "science/density.h"
#include "science/gravity.h"
#include "science/oxygen.h"
#include "service/pipeline.h"

#include <inttypes.h>
#include <math.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define NEAR_CLOCK (7 * DAY_MS)
#define NEAR_FINDING (62 * DAY_MS) /* a finding of a moment is told with the values so near to it */

/* One sample with everything around it. */
struct sample {
    struct pipeline *p;
    const struct station *station;
    struct derive_input input;
    struct derived derived;
    size_t row; /* of the record and of the readings */
    size_t raw;
    struct drop_fact_row drop;
    const struct barometer *barometer; /* NULL: none covers */
    enum quantity quantity;
};

/* Lines of a step: label, then text; as JSON an item of the list "chain". */
struct writer {
    struct text *out;
    bool as_json;
    struct json json;
};

static bool find_sample(struct sample *s, const struct explain_options *options, struct error *error);
static void render(const struct sample *s, struct writer *w);
static void begin_json(const struct sample *s, struct writer *w);
static void end_json(const struct sample *s, struct writer *w);
static void value_to_json(const struct sample *s, enum quantity quantity, struct json *json);
static void budget_to_json(struct level_budget budget, struct json *json);
static void finding_to_json(const struct sample *s, struct writer *w, const struct finding *finding, size_t told);
static void step(struct writer *w, const char *label, const char *format, ...) __attribute__((format(printf, 3, 4)));
static void write_head(const struct sample *s, struct writer *w);
static void write_reading(const struct sample *s, struct writer *w);
static void write_water(const struct sample *s, struct writer *w);
static void write_air(const struct sample *s, struct writer *w);
static void write_corrections(const struct sample *s, struct writer *w);
static void write_zero(const struct sample *s, struct writer *w);
static void write_salinity(const struct sample *s, struct writer *w);
static const char *compensation_words(const struct sample *s);
static void write_depth(const struct sample *s, struct writer *w);
static void write_level(const struct sample *s, struct writer *w);
static void write_oxygen(const struct sample *s, struct writer *w);
static void write_findings(const struct sample *s, struct writer *w);
typedef void tell_finding(const struct sample *s, struct writer *w, const struct finding *finding, size_t told);
static void each_finding(const struct sample *s, struct writer *w, tell_finding *tell);
static bool is_here(const struct sample *s, const struct finding *finding);
static bool is_moment(const struct finding *finding);
static void write_finding(const struct sample *s, struct writer *w, const struct finding *finding, size_t told);
static void write_values(const struct sample *s, struct writer *w);
static void write_limits(const struct sample *s, enum quantity quantity, struct writer *w);
static void write_decisions(const struct sample *s, struct writer *w);
static void write_uncertainty(const struct sample *s, struct writer *w);
static const char *unit_of(enum quantity quantity);
static double value(const struct sample *s, enum quantity quantity);
static double written(const struct sample *s, enum quantity quantity);
static bool concerns(const struct sample *s, enum quantity quantity);

bool explain_render(const struct config *config, struct store *store, const struct explain_options *options,
                    struct text *ret, struct error *error)
{
    struct pipeline pipeline;
    if (!pipeline_open_to_read(&pipeline, config, store, error))
        return false;
    struct sample sample = {.p = &pipeline, .quantity = options->quantity};
    struct writer writer = {.out = ret, .as_json = options->as_json};
    bool ok = find_sample(&sample, options, error);
    if (ok)
        render(&sample, &writer);
    pipeline_close(&pipeline);
    return ok;
}

static bool find_sample(struct sample *s, const struct explain_options *options, struct error *error)
{
    const struct config *config = s->p->config;
    size_t station = config_find_station(config, options->station);
    if (station == config->station_count)
        return fail(error, ERROR_INPUT, "there is no station '%s' in the settings", options->station);
    s->station = &config->stations[station];
    struct span near = {options->time - 2 * HOUR_MS, options->time + 2 * HOUR_MS};
    if (!pipeline_derive_span(s->p, station, near, &s->input, &s->derived, error))
        return false;
    const struct record *r = &s->derived.record;
    size_t best = r->n;
    for (size_t i = 0; i < r->n; i++)
        if (best == r->n || llabs(r->time[i] - options->time) < llabs(r->time[best] - options->time))
            best = i;
    if (best == r->n || llabs(r->time[best] - options->time) > 2 * HOUR_MS)
        return fail(error, ERROR_INPUT, "station '%s' has no sample within two hours of that time", options->station);
    s->row = s->raw = best; /* the record has one row for each reading */
    for (size_t k = 0; k < config->barometer_count && r->barometer[best] != NO_BAROMETER; k++)
        if (s->p->barometer_places[k] == r->barometer[best])
            s->barometer = &config->barometers[k];
    return store_drop_load(s->p->store, s->input.readings.drop[best], s->p->arena, &s->drop, error);
}

static void render(const struct sample *s, struct writer *w)
{
    if (w->as_json)
        begin_json(s, w);
    write_head(s, w);
    write_reading(s, w);
    write_water(s, w);
    write_air(s, w);
    write_corrections(s, w);
    write_zero(s, w);
    write_salinity(s, w);
    write_depth(s, w);
    write_level(s, w);
    write_oxygen(s, w);
    write_findings(s, w);
    write_values(s, w);
    write_decisions(s, w);
    write_uncertainty(s, w);
    if (w->as_json)
        end_json(s, w);
}

/* What a program asks for stands by itself; the chain is for people, in the same words as without --json. */
static void begin_json(const struct sample *s, struct writer *w)
{
    struct json *json = &w->json;
    json_begin(json, w->out);
    json_string(json, "station", s->station->id);
    json_time(json, "time", s->derived.record.time[s->row]);
    json_time(json, "logger_time", s->derived.record.raw_time[s->row]);
    json_string(json, "quantity", s->quantity == QUANTITY_COUNT ? NULL : quantity_info(s->quantity)->key);
    json_string(json, "barometer", s->barometer ? s->barometer->id : NULL);
    json_open(json, "source", JSON_OBJECT);
    json_string(json, "file", s->drop.path);
    json_integer(json, "line", s->input.readings.line[s->raw]);
    json_string(json, "layout", s->drop.layout);
    json_string(json, "original", s->drop.original);
    json_close(json);
    json_open(json, "chain", JSON_LIST);
}

static void end_json(const struct sample *s, struct writer *w)
{
    struct json *json = &w->json;
    json_close(json);
    json_open(json, "values", JSON_OBJECT);
    for (enum quantity q = 0; q < QUANTITY_COUNT; q++)
        if (s->derived.record.value[q] && (s->quantity == QUANTITY_COUNT || s->quantity == q))
            value_to_json(s, q, json);
    json_close(json);
    json_open(json, "findings", JSON_LIST);
    each_finding(s, w, finding_to_json);
    json_close(json);
    json_end(json);
}

static void value_to_json(const struct sample *s, enum quantity q, struct json *json)
{
    const struct record *r = &s->derived.record;
    json_open(json, quantity_info(q)->key, JSON_OBJECT);
    json_quantity(json, "value", q, r->value[q][s->row]);
    json_string(json, "unit", unit_of(q));
    json_string(json, "flag", flag_word(r->flag[q][s->row]));
    json_open(json, "tests", JSON_LIST);
    for (unsigned bit = 0; bit < TEST_COUNT; bit++)
        if (r->tests[q][s->row] >> bit & 1)
            json_string(json, NULL, test_info(bit)->key);
    json_close(json);
    if (r->uncertainty[q]) /* a difference: no zero of a scale is moved */
        json_number(json, "uncertainty",
                    fabs(quantity_to_written(q, r->uncertainty[q][s->row]) - quantity_to_written(q, 0)));
    struct level_situation situation;
    if (q == QUANTITY_LEVEL && !isnan(r->value[q][s->row])) {
        derive_level_situation(&s->derived, &s->input, s->row, &situation);
        budget_to_json(budget_of_level(&situation), json);
    }
    json_close(json);
}

/* Standard uncertainties [m]. */
static void budget_to_json(struct level_budget budget, struct json *json)
{
    json_open(json, "budget", JSON_OBJECT);
    json_number(json, "hand_reading", budget.reference);
    json_number(json, "sensor", budget.pressure);
    json_number(json, "air_pressure", budget.air);
    json_number(json, "hand_over", budget.hand_over);
    json_number(json, "density", budget.density);
    json_number(json, "closing_error", budget.closing);
    json_close(json);
}

static void finding_to_json(const struct sample *s, struct writer *w, const struct finding *f, size_t told)
{
    (void)s;
    (void)told;
    json_open(&w->json, NULL, JSON_OBJECT);
    json_string(&w->json, "kind", finding_kind_word(f->kind));
    json_string(&w->json, "quantity", f->quantity < QUANTITY_COUNT ? quantity_info(f->quantity)->key : NULL);
    json_time(&w->json, "from", f->span.from);
    json_time(&w->json, "to", f->span.to);
    json_bool(&w->json, "wants_hand", f->wants_hand);
    json_string(&w->json, "text", f->text);
    json_close(&w->json);
}

static void step(struct writer *w, const char *label, const char *format, ...)
{
    va_list arguments;
    va_start(arguments, format);
    char line[2048], visible[4096];
    vsnprintf(line, sizeof line, format, arguments);
    va_end(arguments);
    text_make_visible(line, visible, sizeof visible);
    if (!w->as_json) {
        text_printf(w->out, "%-22s %s\n", label, visible);
        return;
    }
    json_open(&w->json, NULL, JSON_OBJECT);
    json_string(&w->json, "step", label + strspn(label, " "));
    json_string(&w->json, "text", visible);
    json_close(&w->json);
}

static void write_head(const struct sample *s, struct writer *w)
{
    char utc[TIMESTAMP_SIZE], local[TIMESTAMP_SIZE];
    int64_t time = s->derived.record.time[s->row];
    step(w, "sample", "%s (%s) at %s, %s by the station's standard time", s->station->id, s->station->name,
         timestamp_print(time, utc), timestamp_print_offset(time, s->station->utc_offset, local));
}

static void write_reading(const struct sample *s, struct writer *w)
{
    const struct readings *raw = &s->input.readings;
    struct text values;
    text_init(&values, 4096);
    for (enum quantity q = 0; q < QUANTITY_COUNT; q++)
        if (raw->value[q] && !isnan(raw->value[q][s->raw]))
            text_printf(&values, "%s%s %.*f %s", values.length ? ", " : "", quantity_info(q)->key,
                        quantity_info(q)->decimals, quantity_to_written(q, raw->value[q][s->raw]), unit_of(q));
    step(w, "reading", "%s", values.bytes ? values.bytes : "no value");
    text_done(&values);
    step(w, "file", "'%s' line %" PRIu32 ", drop %" PRId64 ", layout '%s', original '%s'", s->drop.path,
         raw->line[s->raw], s->drop.number, s->drop.layout, s->drop.original);
    step(w, "belongs here", "%s", s->drop.evidence);
    int64_t shift = s->derived.record.time[s->row] - s->derived.record.raw_time[s->row];
    char stamp[TIMESTAMP_SIZE];
    if (shift != 0)
        step(w, "clock", "the logger wrote %s; moved by %+.1f s, spread between clock checks",
             timestamp_print(raw->time[s->raw], stamp), (double)shift / 1000);
    else
        step(w, "clock", "as the logger wrote it");
}

static void write_water(const struct sample *s, struct writer *w)
{
    uint32_t tests = 0;
    for (enum quantity q = 0; q < QUANTITY_COUNT; q++)
        tests |= s->derived.record.tests[q] ? s->derived.record.tests[q][s->row] : 0;
    step(w, "water", "%s",
         tests & TEST_IN_AIR     ? "in air: by a note, or because pressure and conductivity show it"
         : tests & TEST_SETTLING ? "in the water, settling after it was put in"
                                 : "in the water");
}

static void write_air(const struct sample *s, struct writer *w)
{
    if (!s->barometer) {
        step(w, "air pressure", "none: no barometer covers this time");
        return;
    }
    double distance =
        distance_between(s->station->latitude, s->station->longitude, s->barometer->latitude, s->barometer->longitude);
    char gap[TIMESTAMP_SIZE];
    step(w, "air pressure",
         "%.3f hPa at the water, from '%s', %.1f km away, carried %+.1f m up; %s between its readings",
         written(s, QUANTITY_AIR_PRESSURE), s->barometer->id, distance / 1000,
         s->station->elevation - s->barometer->elevation, duration_print(s->derived.air_gap[s->row], gap));
    if (s->derived.air_shift[s->row] != 0)
        step(w, "hand-over", "%+.3f hPa added, so that the change of barometer makes no step",
             s->derived.air_shift[s->row] / 100);
}

static void write_corrections(const struct sample *s, struct writer *w)
{
    int64_t time = s->derived.record.time[s->row];
    for (size_t k = 0; k < s->derived.correction_count; k++) {
        const struct correction *c = &s->derived.corrections[k];
        if (time <= c->from || time > c->to || !concerns(s, c->quantity))
            continue;
        char from[TIMESTAMP_SIZE], to[TIMESTAMP_SIZE];
        double share = (double)(time - c->from) / (double)(c->to - c->from);
        step(w, "correction",
             "%s: fouling %+.3f %s and %zu standards at the visit of %s, spread from %s: %.1f %% of it here; %s, "
             "rating %s",
             quantity_info(c->quantity)->key, c->fouling, c->is_percent ? "%" : "°C", c->standard_count,
             timestamp_print(c->to, to), timestamp_print(c->from, from), 100 * share,
             c->is_applied ? "applied" : "below the criterion, not applied", correction_rating_name(c->rating));
    }
}

static void write_zero(const struct sample *s, struct writer *w)
{
    double off = s->derived.zero ? s->derived.zero[s->row] : 0;
    if (off != 0 && concerns(s, QUANTITY_LEVEL))
        step(w, "zero in air", "%+.3f hPa taken off the pressure, standard uncertainty %.3f hPa", off / 100,
             s->derived.zero_uncertainty[s->row] / 100);
}

static void write_salinity(const struct sample *s, struct writer *w)
{
    if (!isnan(value(s, QUANTITY_SALINITY)))
        step(w, "salinity",
             "%.4f from %.4f mS/cm at %.3f °C, by PSS-78 with its extension to low salinity; %.1f µS/cm at 25 °C by %s",
             value(s, QUANTITY_SALINITY), value(s, QUANTITY_CONDUCTIVITY), value(s, QUANTITY_TEMPERATURE),
             written(s, QUANTITY_SPECIFIC_CONDUCTANCE), compensation_words(s));
    double used = s->derived.salinity_used[s->row];
    bool is_measured =
        s->station->salinity_source == SALINITY_MEASURED && fabs(used - value(s, QUANTITY_SALINITY)) < 1e-9;
    step(w, "salinity used", "%.4f, %s, for density and oxygen", used,
         is_measured                                      ? "measured"
         : s->station->salinity_source == SALINITY_FRESH  ? "fresh by the settings"
         : s->station->salinity_source == SALINITY_STATED ? "stated in the settings"
                                                          : "fallback: the measured one is missing or failed");
}

/* "0.0191 per degree", and where the sensor wrote it by another: ", the sensor by 0.0200 per degree". */
static const char *compensation_words(const struct sample *s)
{
    const struct station *station = s->station;
    const double *specific = s->input.readings.value[QUANTITY_SPECIFIC_CONDUCTANCE];
    bool is_curve = station->conductance_compensation == COMPENSATION_ISO_7888;
    const char *ours =
        is_curve ? "ISO 7888" : arena_printf(s->p->arena, "%.4f per degree", station->conductance_coefficient);
    bool is_written = specific && !isnan(specific[s->raw]);
    if (!is_written || (station->conductance_sensor_compensation == COMPENSATION_SAME &&
                        isnan(station->conductance_sensor_coefficient)))
        return ours;
    bool is_sensor_curve = station->conductance_sensor_compensation == COMPENSATION_SAME
                               ? is_curve
                               : station->conductance_sensor_compensation == COMPENSATION_ISO_7888;
    double coefficient = isnan(station->conductance_sensor_coefficient) ? station->conductance_coefficient
                                                                        : station->conductance_sensor_coefficient;
    return is_sensor_curve ? arena_printf(s->p->arena, "%s, the sensor by ISO 7888", ours)
                           : arena_printf(s->p->arena, "%s, the sensor by %.4f per degree", ours, coefficient);
}

static void write_depth(const struct sample *s, struct writer *w)
{
    double depth = value(s, QUANTITY_DEPTH);
    if (isnan(depth) || !concerns(s, QUANTITY_LEVEL))
        return;
    double temperature = value(s, QUANTITY_TEMPERATURE),
           gravity = gravity_at(s->station->latitude, s->station->elevation);
    double gauge = value(s, QUANTITY_WATER_PRESSURE) - value(s, QUANTITY_AIR_PRESSURE);
    double density =
        density_of_water(s->derived.salinity_used[s->row], isnan(temperature) ? 15 : temperature, gauge / 2);
    step(w, "density", "%.3f kg/m3 at the mean pressure of the water above the sensor; gravity %.5f m/s2", density,
         gravity);
    step(w, "depth", "%.4f m = %.1f Pa of water / (density x gravity)", depth, gauge);
}

static void write_level(const struct sample *s, struct writer *w)
{
    if (!s->derived.offset || !concerns(s, QUANTITY_LEVEL))
        return;
    double offset = s->derived.offset[s->row];
    if (isnan(offset)) {
        step(w, "level", "none: no hand reading ties it, and the sensor's elevation is not in the settings");
        return;
    }
    step(w, "level", "%.4f m = depth %+.4f m", value(s, QUANTITY_LEVEL), offset);
    const struct check_result *before = NULL, *after = NULL;
    int64_t time = s->derived.record.time[s->row];
    for (size_t k = 0; k < s->derived.check_count; k++) {
        const struct check_result *c = &s->derived.checks[k];
        if (c->quantity != QUANTITY_LEVEL)
            continue;
        if (c->time <= time && (!before || c->time > before->time))
            before = c;
        if (c->time > time && (!after || c->time < after->time))
            after = c;
    }
    char when[TIMESTAMP_SIZE];
    if (before)
        step(w, "hand reading before", "%.4f m at %s, record %.4f m", before->reference,
             timestamp_print(before->time, when), before->sensor);
    if (after)
        step(w, "hand reading after", "%.4f m at %s, record %.4f m, closing error %+.4f m%s", after->reference,
             timestamp_print(after->time, when), after->sensor, after->difference,
             after->is_first ? " (first of its stay in the water)" : "");
}

static void write_oxygen(const struct sample *s, struct writer *w)
{
    double oxygen = value(s, QUANTITY_OXYGEN);
    if (isnan(oxygen) || !concerns(s, QUANTITY_OXYGEN))
        return;
    const double *raw = s->input.readings.value[QUANTITY_OXYGEN];
    const double *percent = s->input.readings.value[QUANTITY_OXYGEN_SATURATION];
    double told = s->station->oxygen_sensor_salinity, pressure = s->station->oxygen_sensor_pressure;
    if (raw && !isnan(raw[s->raw]) && isnan(told))
        step(w, "oxygen", "%.3f mg/L, from %.3f mg/L of a sensor that was told the measured salinity", oxygen,
             raw[s->raw]);
    else if (raw && !isnan(raw[s->raw]))
        step(w, "oxygen", "%.3f mg/L, from %.3f mg/L that a sensor told salinity %.1f wrote", oxygen, raw[s->raw],
             told);
    else if (percent && isnan(pressure))
        step(w, "oxygen", "%.3f mg/L, from %.2f %% of saturation at the air pressure of the moment", oxygen,
             percent[s->raw]);
    else if (percent)
        step(w, "oxygen", "%.3f mg/L, from %.2f %% of saturation at %.2f hPa", oxygen, percent[s->raw], pressure / 100);
    const struct air_calibration *c = &s->station->oxygen_calibration;
    if (!isnan(c->temperature))
        step(w, "air calibration", "at %.1f °C and %.2f hPa, told %.2f hPa: all that the sensor wrote x %.5f",
             c->temperature, c->air_pressure / 100, c->told / 100,
             oxygen_air_calibration_gain(c->temperature, c->air_pressure, c->told));
    step(w, "saturation", "%.2f %% at the local air pressure, %.2f %% at 1013.25 hPa (Benson and Krause)",
         value(s, QUANTITY_OXYGEN_SATURATION), value(s, QUANTITY_OXYGEN_SATURATION_STANDARD));
}

/* Those whose stretch holds the sample, and those of moments between the readings and checks around it; trends come
 * from the store, since they need more weeks than the chain was given here. */
static void write_findings(const struct sample *s, struct writer *w)
{
    each_finding(s, w, write_finding);
}

static void each_finding(const struct sample *s, struct writer *w, tell_finding *tell)
{
    size_t told = 0, count;
    struct finding *stored;
    struct error ignored;
    int64_t time = s->derived.record.time[s->row];
    for (size_t k = 0; k < s->derived.findings.count; k++)
        if (is_here(s, &s->derived.findings.list[k]))
            tell(s, w, &s->derived.findings.list[k], ++told);
    struct span near = {time - NEAR_FINDING, time + NEAR_FINDING};
    uint32_t place = s->p->station_places[s->station - s->p->config->stations];
    if (!store_findings_load(s->p->store, place, near, s->p->arena, &stored, &count, &ignored))
        return;
    for (size_t k = 0; k < count; k++)
        if (1u << stored[k].kind & FINDINGS_OF_TRENDS && is_here(s, &stored[k]))
            tell(s, w, &stored[k], ++told);
}

static bool is_here(const struct sample *s, const struct finding *f)
{
    int64_t time = s->derived.record.time[s->row];
    /* What is said of a clock is said anew each week. */
    int64_t reach = 1u << f->kind & FINDINGS_OF_CLOCKS ? NEAR_CLOCK : NEAR_FINDING;
    bool is_near = is_moment(f) ? llabs(f->span.from - time) <= reach : time >= f->span.from && time < f->span.to;
    return is_near && (f->quantity >= QUANTITY_COUNT || concerns(s, f->quantity));
}

static bool is_moment(const struct finding *f)
{
    return 1u << f->kind & (FINDINGS_OF_A_MOMENT | FINDINGS_OF_TRENDS);
}

static void write_finding(const struct sample *s, struct writer *w, const struct finding *f, size_t told)
{
    (void)s;
    char label[64], when[TIMESTAMP_SIZE];
    snprintf(label, sizeof label, "finding %zu", told);
    bool is_named = f->kind == FINDING_RATING; /* the same words are said of each quantity */
    step(w, label, "%s%s%s%s%s", is_moment(f) ? timestamp_print(f->span.from, when) : "", is_moment(f) ? ": " : "",
         is_named ? quantity_info(f->quantity)->key : "", is_named ? ": " : "", f->text);
}

static void write_values(const struct sample *s, struct writer *w)
{
    const struct record *r = &s->derived.record;
    for (enum quantity q = 0; q < QUANTITY_COUNT; q++) {
        if (!r->value[q] || (s->quantity != QUANTITY_COUNT && s->quantity != q))
            continue;
        struct text why;
        text_init(&why, 2048);
        for (unsigned bit = 0; bit < TEST_COUNT; bit++)
            if (r->tests[q][s->row] >> bit & 1)
                text_printf(&why, "%s%s", why.length ? "; " : "", test_info(bit)->meaning);
        step(w, quantity_info(q)->key, "%.*f%s%s: %s%s%s%s", quantity_info(q)->decimals, written(s, q),
             *unit_of(q) ? " " : "", unit_of(q), flag_word(r->flag[q][s->row]), why.bytes ? " (" : "",
             why.bytes ? why.bytes : "", why.bytes ? ")" : "");
        text_done(&why);
        if (s->quantity == q)
            write_limits(s, q, w);
    }
}

static void write_limits(const struct sample *s, enum quantity quantity, struct writer *w)
{
    struct quality_limits limits = config_quality(s->p->config, s->station, quantity);
    struct text text;
    text_init(&text, 4096);
    quality_describe(quantity, &limits, &text);
    step(w, "tests", "%s", text.length > 0 ? text.bytes : "all are off");
    text_done(&text);
}

/* People's decisions about this sample, each note once, with its reason and where it was written. */
static void write_decisions(const struct sample *s, struct writer *w)
{
    struct decisions decisions = decisions_find(s->p->arena, s->input.note_count, s->input.notes);
    const struct note *said = NULL;
    for (enum quantity q = 0; q < QUANTITY_COUNT; q++) {
        const struct note *note = decision_at(&decisions, q, s->derived.record.time[s->row]);
        struct drop_fact_row drop;
        struct error ignored;
        if (!note || note == said || !s->derived.record.value[q] || !concerns(s, q))
            continue;
        said = note;
        bool has_source = store_drop_load(s->p->store, note->drop, s->p->arena, &drop, &ignored);
        char from[TIMESTAMP_SIZE], to[TIMESTAMP_SIZE];
        step(w, "decision", "%s %s from %s until %s: \"%s\"; '%s' line %" PRIu32,
             note->quantity < QUANTITY_COUNT ? quantity_info(q)->key : "everything",
             note->kind == NOTE_STRIKE ? "struck out" : "restored", timestamp_print(note->time, from),
             timestamp_print(note->until, to), *note->text ? note->text : "no reason given",
             has_source ? drop.path : "?", note->line);
    }
}

static void write_uncertainty(const struct sample *s, struct writer *w)
{
    const struct record *r = &s->derived.record;
    for (enum quantity q = 0; q < QUANTITY_COUNT; q++) {
        if (!r->uncertainty[q] || isnan(r->uncertainty[q][s->row]) || !concerns(s, q))
            continue;
        step(w,
             q == QUANTITY_LEVEL    ? "uncertainty"
             : q == QUANTITY_OXYGEN ? "oxygen uncertainty"
                                    : "salinity uncertainty",
             "%s +-%.4f%s%s (one standard uncertainty)", quantity_info(q)->key, r->uncertainty[q][s->row],
             *unit_of(q) ? " " : "", unit_of(q));
        if (q != QUANTITY_LEVEL)
            continue;
        struct level_situation situation;
        derive_level_situation(&s->derived, &s->input, s->row, &situation);
        struct level_budget b = budget_of_level(&situation);
        step(w, "  made of",
             "hand reading %.4f, sensor %.4f, air pressure %.4f, hand-over %.4f, density %.4f, closing error %.4f m",
             b.reference, b.pressure, b.air, b.hand_over, b.density, b.closing);
    }
}

/* A pure number has none to print. */
static const char *unit_of(enum quantity quantity)
{
    const char *unit = quantity_info(quantity)->unit;
    return strcmp(unit, "1") == 0 ? "" : unit;
}

static double value(const struct sample *s, enum quantity quantity)
{
    const double *column = s->derived.record.value[quantity];
    return column ? column[s->row] : NAN;
}

static double written(const struct sample *s, enum quantity quantity)
{
    return quantity_to_written(quantity, value(s, quantity));
}

static bool concerns(const struct sample *s, enum quantity quantity)
{
    return s->quantity == QUANTITY_COUNT || s->quantity == quantity ||
           (quantity == QUANTITY_LEVEL && s->quantity == QUANTITY_DEPTH) ||
           (quantity == QUANTITY_OXYGEN &&
            (s->quantity == QUANTITY_OXYGEN_SATURATION || s->quantity == QUANTITY_OXYGEN_SATURATION_STANDARD)) ||
           (quantity == QUANTITY_SPECIFIC_CONDUCTANCE &&
            (s->quantity == QUANTITY_SALINITY || s->quantity == QUANTITY_CONDUCTIVITY));
}
