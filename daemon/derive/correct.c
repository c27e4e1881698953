/* SPDX-License-Identifier: MIT */
#include "derive/correct.h"

#include "base/timestamp.h"

#include <math.h>

/* What one visit showed about one sensor. */
struct visit {
    int64_t found, end; /* time of the check as found (TIME_NONE: none was made), and of the last entry */
    int64_t cleaned;    /* time of a check after cleaning that came before the one as found; TIME_NONE: in order */
    double sensor_found, meter_found, sensor_cleaned, meter_cleaned; /* NaN: not made */
    size_t standard_count;
    double readings[3], standards[3];
};

static size_t find_visits(enum quantity quantity, const struct record *record, size_t note_count,
                          const struct note *notes, int64_t reach, struct visit *ret);
static bool concerns(const struct note *note, enum quantity quantity);
static void add_to_visit(struct visit *visit, const struct note *note, double sensor);
static void add_standard(struct visit *visit, double reading, double standard);
static bool is_disordered(const struct visit *visit);
static int64_t beginning(const struct visit *before, int64_t found, size_t note_count, const struct note *notes);
static bool judge(const struct visit *visit, enum quantity quantity, struct correction *ret);
static double corrected(const struct correction *correction, double value, double weight);

size_t corrections_find(struct arena *arena, enum quantity quantity, const struct record *record, size_t note_count,
                        const struct note *notes, int64_t reach, struct correction **ret)
{
    struct visit *visits = arena_array(arena, note_count + 1, sizeof *visits);
    struct correction *list = arena_array(arena, note_count + 1, sizeof *list);
    size_t visit_count = find_visits(quantity, record, note_count, notes, reach, visits), count = 0;
    for (size_t k = 0; k < visit_count; k++) {
        int64_t from = beginning(k > 0 ? &visits[k - 1] : NULL, visits[k].found, note_count, notes);
        struct correction correction = {.quantity = quantity, .from = from, .to = visits[k].found};
        if (from != TIME_NONE && !is_disordered(&visits[k]) && from < correction.to &&
            judge(&visits[k], quantity, &correction))
            list[count++] = correction;
    }
    *ret = list;
    return count;
}

size_t corrections_disordered(struct arena *arena, enum quantity quantity, const struct record *record,
                              size_t note_count, const struct note *notes, int64_t reach,
                              struct checks_disordered **ret)
{
    struct visit *visits = arena_array(arena, note_count + 1, sizeof *visits);
    struct checks_disordered *list = arena_array(arena, note_count + 1, sizeof *list);
    size_t visit_count = find_visits(quantity, record, note_count, notes, reach, visits), count = 0;
    for (size_t k = 0; k < visit_count; k++)
        if (is_disordered(&visits[k]))
            list[count++] = (struct checks_disordered){visits[k].cleaned, visits[k].found};
    *ret = list;
    return count;
}

void corrections_apply(size_t count, const struct correction *corrections, struct record *record)
{
    for (size_t k = 0; k < count; k++) {
        const struct correction *correction = &corrections[k];
        enum quantity column = correction->quantity;
        size_t last = record_at_or_after(record, correction->to + 1);
        for (size_t i = record_at_or_after(record, correction->from + 1); correction->is_applied && i < last; i++) {
            double raw = record->value[column][i];
            double weight = (double)(record->time[i] - correction->from) / (double)(correction->to - correction->from);
            double value = corrected(correction, raw, weight);
            record->value[column][i] = value;
            record->tests[column][i] |= TEST_CORRECTED;
            if (!isnan(value) &&
                !correction_is_publishable(correction_quantity_of(correction->quantity), fabs(value - raw), value)) {
                record->tests[column][i] |= TEST_TOO_MUCH_DRIFT;
                record->flag[column][i] = flag_merge(record->flag[column][i], FLAG_FAIL);
            }
        }
    }
}

const struct correction *corrections_at(size_t count, const struct correction *corrections, int64_t time)
{
    for (size_t k = 0; k < count; k++)
        if (time > corrections[k].from && time <= corrections[k].to)
            return &corrections[k];
    return NULL;
}

static size_t find_visits(enum quantity quantity, const struct record *record, size_t note_count,
                          const struct note *notes, int64_t reach, struct visit *ret)
{
    size_t count = 0;
    for (size_t k = 0; k < note_count; k++) {
        const struct note *note = &notes[k];
        if (!concerns(note, quantity))
            continue;
        if (count == 0 || note->time - ret[count - 1].end > VISIT_LENGTH)
            ret[count++] = (struct visit){.found = TIME_NONE,
                                          .cleaned = TIME_NONE,
                                          .sensor_found = NAN,
                                          .meter_found = NAN,
                                          .sensor_cleaned = NAN,
                                          .meter_cleaned = NAN};
        double sensor = isnan(note->value) ? record_value_at(record, note->quantity, note->time, reach) : note->value;
        add_to_visit(&ret[count - 1], note, sensor);
    }
    return count;
}

static bool concerns(const struct note *note, enum quantity quantity)
{
    if (note->kind != NOTE_CHECK && note->kind != NOTE_CHECK_CLEANED && note->kind != NOTE_STANDARD)
        return false;
    return note->quantity == quantity ||
           (quantity == QUANTITY_SPECIFIC_CONDUCTANCE && note->quantity == QUANTITY_CONDUCTIVITY);
}

/* The first check as found and the last after cleaning count: what lies between is the crew's own trying. */
static void add_to_visit(struct visit *visit, const struct note *note, double sensor)
{
    visit->end = note->time;
    if (isnan(sensor) || isnan(note->reference))
        return;
    if (note->kind == NOTE_CHECK && isnan(visit->sensor_found)) {
        visit->found = note->time;
        visit->sensor_found = sensor;
        visit->meter_found = note->reference;
    } else if (note->kind == NOTE_CHECK_CLEANED) {
        if (visit->found == TIME_NONE)
            visit->cleaned = note->time;
        visit->sensor_cleaned = sensor;
        visit->meter_cleaned = note->reference;
    } else if (note->kind == NOTE_STANDARD) {
        add_standard(visit, sensor, note->reference);
    }
}

/* Notes of one moment are in order: crews write down what they did within the minute. */
static bool is_disordered(const struct visit *visit)
{
    return visit->cleaned != TIME_NONE && visit->found != TIME_NONE && visit->cleaned < visit->found;
}

static void add_standard(struct visit *visit, double reading, double standard)
{
    size_t at = visit->standard_count;
    if (at == 3)
        return;
    for (size_t k = 0; k < at; k++)
        if (visit->readings[k] == reading)
            return; /* the same reading twice would make a line of no slope */
    for (; at > 0 && visit->readings[at - 1] > reading; at--) {
        visit->readings[at] = visit->readings[at - 1];
        visit->standards[at] = visit->standards[at - 1];
    }
    visit->readings[at] = reading;
    visit->standards[at] = standard;
    visit->standard_count++;
}

static int64_t beginning(const struct visit *before, int64_t found, size_t note_count, const struct note *notes)
{
    int64_t from = before ? before->end : TIME_NONE;
    for (size_t k = 0; k < note_count && notes[k].time <= found; k++)
        if (notes[k].kind == NOTE_IN_WATER && notes[k].time > from)
            from = notes[k].time;
    return found == TIME_NONE ? TIME_NONE : from;
}

/* False where the visit says nothing that could be applied. */
static bool judge(const struct visit *visit, enum quantity quantity, struct correction *ret)
{
    double before = visit->sensor_found, meter = visit->meter_found;
    bool was_cleaned = !isnan(visit->sensor_cleaned);
    ret->is_percent = quantity != QUANTITY_TEMPERATURE;
    double error =
        was_cleaned ? correction_fouling(visit->sensor_cleaned, before, visit->meter_cleaned, meter) : meter - before;
    ret->fouling = ret->is_percent ? 100 * error / before : error;
    ret->standard_count = visit->standard_count;
    for (size_t k = 0; k < visit->standard_count; k++) {
        ret->readings[k] = visit->readings[k];
        ret->standards[k] = visit->standards[k];
    }
    double clean = before + error, total = corrected(ret, before, 1);
    ret->value = total;
    ret->size = fabs(error) + fabs(total - clean);
    if (!isfinite(ret->fouling) || !isfinite(total))
        return false;
    ret->is_applied = correction_is_needed(correction_quantity_of(quantity), ret->size, total);
    ret->rating = correction_rating(correction_quantity_of(quantity), ret->size, total);
    return true;
}

static double corrected(const struct correction *c, double value, double weight)
{
    value = c->is_percent ? value * (1 + c->fouling / 100 * weight) : value + c->fouling * weight;
    if (c->standard_count == 0)
        return value;
    if (c->standard_count == 1 && c->is_percent)
        return value * (1 + correction_drift_percent(c->standards[0], c->readings[0]) / 100 * weight);
    return correction_multi_point(value, c->standard_count, c->readings, c->standards, weight);
}

enum correction_quantity correction_quantity_of(enum quantity quantity)
{
    return quantity == QUANTITY_TEMPERATURE ? CORRECTION_TEMPERATURE
           : quantity == QUANTITY_OXYGEN    ? CORRECTION_OXYGEN
                                            : CORRECTION_CONDUCTANCE;
}
