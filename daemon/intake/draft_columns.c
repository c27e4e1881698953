/* SPDX-License-Identifier: MIT */
/* What the columns of an unknown file are. */
#include "intake/draft_plan.h"
#include "intake/draft_words.h"
#include "intake/header.h"

#include <math.h>
#include <string.h>

#define HIGHEST_AIR 112e3 /* Pa: no air pressure is higher, the Dead Sea included */
#define HIGHEST_USUAL_AIR 109e3
#define LOWEST_AIR 50e3 /* Pa: 5,500 m above the sea */
#define WIDEST_AIR 5e3  /* Pa: between the 5th and 95th part of 100; a deep low makes half of it */

static size_t control_length(const char *at);
static bool holds_notes(struct plan *plan, const struct evidence_set *set);
static void add_column(struct plan *plan, const struct evidence_set *set, const struct evidence *evidence,
                       size_t files);
static const char *find_pattern(struct plan *plan, const struct evidence_set *set, const struct evidence *evidence);
static bool is_measured(const struct evidence *evidence);
static void plan_reading(struct plan *plan, const struct evidence_set *set, struct planned_column *column);
static void plan_pressure(struct plan *plan, const struct evidence_set *set, struct planned_column *column);
static bool has_water(const struct evidence_set *set);
static bool is_air_file(const struct plan *plan, const struct evidence_set *set);
static void check_unit(struct plan *plan, struct planned_column *column);
static const char *guess_unit(const struct planned_column *column);
static const char *guess_pressure_unit(double typical, bool is_air);
static void ignore(struct plan *plan, struct planned_column *column, const char *why, const char *question);
static void drop_repeated(struct plan *plan);
static bool has_second(const struct plan *plan);
static void plan_second_temperature(struct plan *plan, struct planned_column *column,
                                    const struct planned_column *first);
static void plan_long_note(struct plan *plan, struct planned_column *column);
static void plan_words(struct plan *plan, struct planned_column *column);
static void plan_wide_note(struct plan *plan, struct planned_column *column);
static void plan_check(struct plan *plan, struct planned_column *column, enum quantity quantity);
static void find_references(struct plan *plan);
static bool measures(const struct planned_column *column);
static const char *quoted(struct plan *plan, const char *text);

void plan_columns(struct plan *plan, const struct evidence_set *set, size_t files)
{
    plan->is_notes = holds_notes(plan, set);
    bool is_long = false;
    for (size_t i = 0; i < set->count; i++) {
        is_long |= plan->is_notes && set->columns[i].clues & CLUE_KIND;
        add_column(plan, set, &set->columns[i], files);
    }
    for (size_t i = 0; i < plan->column_count; i++) {
        struct planned_column *column = &plan->columns[i];
        if (is_long)
            plan_long_note(plan, column);
        else if (plan->is_notes)
            plan_wide_note(plan, column);
        else
            plan_reading(plan, set, column);
        if (measures(column))
            check_unit(plan, column);
    }
    drop_repeated(plan);
    if (plan->is_notes)
        find_references(plan);
}

const char *plan_pattern(struct arena *arena, struct cell header)
{
    char *pattern = cell_copy(header, arena);
    for (char *at = pattern; *at; at++)
        for (size_t i = control_length(at); i > 0; i--)
            at[i - 1] = '?';
    return pattern;
}

bool plan_can_write(const char *text)
{
    for (; *text; text++)
        if (control_length(text) > 0)
            return false;
    return true;
}

/* Bytes of a control character (C0, DEL, C1); 0 where there is none. */
static size_t control_length(const char *at)
{
    unsigned char first = (unsigned char)at[0], second = (unsigned char)at[1];
    return first < 0x20 || first == 0x7F ? 1 : first == 0xC2 && second >= 0x80 && second < 0xA0 ? 2 : 0;
}

static bool holds_notes(struct plan *plan, const struct evidence_set *set)
{
    uint64_t seen = 0;
    size_t hand = 0;
    for (size_t i = 0; i < set->count; i++) {
        const struct evidence *column = &set->columns[i];
        bool has_clue = column->clues & (CLUE_STAFF | CLUE_TAPE | CLUE_METER | CLUE_OUT | CLUE_IN | CLUE_CLEANED);
        seen |= column->clues;
        hand += has_clue && !(column->clues & (CLUE_DEPTH | CLUE_PRESSURE));
        hand += (column->clues & (CLUE_STAFF | CLUE_DEPTH)) == (CLUE_STAFF | CLUE_DEPTH) && set->rows < 50;
    }
    if (seen & CLUE_PRESSURE)
        return false;
    if (seen & CLUE_KIND && seen & (CLUE_VALUE | CLUE_OF | CLUE_UNIT))
        return true;
    if (hand == 0)
        return false;
    if (hand == 1)
        plan->kind_doubt = (struct doubt){.why = "one column only looks like a hand reading",
                                          .question = "Is this a notebook of the crew, or the readings of a logger?"};
    return true;
}

static void add_column(struct plan *plan, const struct evidence_set *set, const struct evidence *evidence, size_t files)
{
    plan->columns[plan->column_count++] = (struct planned_column){.evidence = evidence,
                                                                  .header = find_pattern(plan, set, evidence),
                                                                  .role = COLUMN_IGNORED,
                                                                  .quantity = QUANTITY_COUNT,
                                                                  .note_kind = NOTE_KIND_COUNT,
                                                                  .is_optional = evidence->files < files};
}

/* The header cell without its unit, so that files with other units fit too - where no other header fits it. */
static const char *find_pattern(struct plan *plan, const struct evidence_set *set, const struct evidence *evidence)
{
    const char *name = plan_pattern(plan->arena, evidence->name);
    const struct shape *shape = plan->shape;
    size_t fits = 0;
    for (size_t i = 0; i < set->count; i++)
        fits += header_fit(cell_from(set->columns[i].header), name) != HEADER_NONE;
    for (size_t i = 0; i < shape->time_cell_count; i++)
        fits += header_fit(row_cell(&shape->head.rows[shape->header_row], shape->time_cells[i]), name) != HEADER_NONE;
    return fits == 1 && *name ? name : plan_pattern(plan->arena, cell_from(evidence->header));
}

static bool is_measured(const struct evidence *evidence)
{
    return evidence->numbers > 0 && evidence->numbers * 2 >= evidence->filled;
}

static void plan_reading(struct plan *plan, const struct evidence_set *set, struct planned_column *column)
{
    const struct evidence *evidence = column->evidence;
    uint64_t clues = evidence->clues;
    enum quantity quantity = draft_quantity(clues);
    bool is_percentage = evidence->unit && evidence->unit->dimension == UNIT_PERCENTAGE;
    if (!is_measured(evidence) || (quantity == QUANTITY_COUNT && clues & (CLUE_SERIAL | CLUE_STATION))) {
        if (clues & CLUE_SERIAL)
            column->role = COLUMN_SERIAL;
        else if (clues & CLUE_STATION)
            column->role = COLUMN_STATION;
        column->is_optional |= column->role == COLUMN_IGNORED;
        return;
    }
    bool is_in_degrees = evidence->unit && evidence->unit->dimension == UNIT_TEMPERATURE;
    if (clues & CLUE_TEMPERATURE && is_in_degrees && quantity != QUANTITY_AIR_TEMPERATURE)
        quantity = QUANTITY_TEMPERATURE; /* the thermometer of whatever else is named */
    if (quantity == QUANTITY_COUNT && evidence->unit && evidence->unit->dimension == UNIT_PRESSURE)
        quantity = QUANTITY_WATER_PRESSURE; /* a 'level' in kPa is what stands above the sensor, air and all */
    if (quantity == QUANTITY_OXYGEN && is_percentage)
        quantity = QUANTITY_OXYGEN_SATURATION;
    if (quantity == QUANTITY_OXYGEN_SATURATION && evidence->unit && !is_percentage)
        quantity = QUANTITY_OXYGEN;
    column->role = COLUMN_QUANTITY;
    column->quantity = quantity;
    if (quantity == QUANTITY_WATER_PRESSURE || quantity == QUANTITY_AIR_PRESSURE) {
        plan_pressure(plan, set, column);
    } else if (quantity == QUANTITY_TEMPERATURE && !(clues & CLUE_WATER) && is_air_file(plan, set)) {
        column->quantity = QUANTITY_AIR_TEMPERATURE;
    } else if (quantity == QUANTITY_BATTERY) {
        column->is_optional = true;
    } else if (quantity == QUANTITY_COUNT && clues & CLUE_DEPTH) {
        ignore(plan, column, NULL, NULL);
        column->doubt.remark = "depth and level are worked out from the pressure";
    } else if (quantity == QUANTITY_COUNT) {
        ignore(plan, column, "nothing says what it is", "What is in column %s? It is left out.");
    }
}

static void plan_pressure(struct plan *plan, const struct evidence_set *set, struct planned_column *column)
{
    const struct evidence *evidence = column->evidence;
    const char *guess = evidence->unit ? evidence->unit->name : guess_unit(column);
    const struct unit *unit = evidence->unit ? evidence->unit : guess ? unit_find(guess, strlen(guess)) : NULL;
    column->quantity = QUANTITY_WATER_PRESSURE;
    if (evidence->clues & CLUE_AIR && !(evidence->clues & CLUE_WATER)) {
        column->quantity = QUANTITY_AIR_PRESSURE;
        return;
    }
    if (!unit || unit->dimension != UNIT_PRESSURE || evidence->clues & CLUE_WATER)
        return;
    double typical = unit_to_base(unit, evidence_quantile(evidence, 0.5));
    double spread =
        unit_to_base(unit, evidence_quantile(evidence, 0.95)) - unit_to_base(unit, evidence_quantile(evidence, 0.05));
    if (typical < LOWEST_AIR) {
        column->doubt = (struct doubt){
            .why = "too low to hold the air pressure",
            .question = "Is the pressure absolute, with the air on top of the water? Only so can it be used; a logger "
                        "with a vented cable gives it without."};
    } else if (has_water(set)) {
        return;
    } else if (typical <= HIGHEST_USUAL_AIR && spread <= WIDEST_AIR) {
        column->quantity = QUANTITY_AIR_PRESSURE;
        column->doubt =
            (struct doubt){.why = arena_printf(plan->arena, "%.1f to %.1f kPa in the middle, as air has it",
                                               (typical - spread / 2) / 1e3, (typical + spread / 2) / 1e3),
                           .question = arena_printf(plan->arena,
                                                    "Did the logger with column %s hang in air? In water it is "
                                                    "`water_pressure`, and its temperature `temperature`.",
                                                    quoted(plan, evidence->header))};
    } else {
        column->doubt =
            (struct doubt){.why = typical > HIGHEST_AIR ? "more than air ever has" : "it changes more than air does",
                           .question = arena_printf(plan->arena,
                                                    "Did the logger with column %s lie in water? In air it is "
                                                    "`air_pressure`.",
                                                    quoted(plan, evidence->header))};
    }
}

/* Columns that only a logger in water has. */
static bool has_water(const struct evidence_set *set)
{
    for (size_t i = 0; i < set->count; i++) {
        uint64_t clues = set->columns[i].clues;
        bool is_wet = clues & (CLUE_OXYGEN | CLUE_CONDUCTIVITY | CLUE_SALINITY) ||
                      (clues & CLUE_TEMPERATURE && clues & CLUE_WATER);
        if (is_wet && is_measured(&set->columns[i]))
            return true;
    }
    return false;
}

static bool is_air_file(const struct plan *plan, const struct evidence_set *set)
{
    bool has_air = false;
    for (size_t i = 0; i < plan->column_count; i++)
        has_air |= plan->columns[i].role == COLUMN_QUANTITY && plan->columns[i].quantity == QUANTITY_AIR_PRESSURE;
    for (size_t i = 0; i < set->count; i++)
        has_air |= (set->columns[i].clues & (CLUE_PRESSURE | CLUE_AIR)) == (CLUE_PRESSURE | CLUE_AIR);
    return has_air && !has_water(set);
}

/* Of the right kind, or guessed where the header names none. */
static void check_unit(struct plan *plan, struct planned_column *column)
{
    const struct evidence *evidence = column->evidence;
    bool is_height = column->role == COLUMN_NOTE && column->quantity == QUANTITY_COUNT;
    enum unit_dimension wanted = is_height ? UNIT_LENGTH : header_dimension(column->quantity);
    if (evidence->unit && evidence->unit->dimension != wanted) {
        ignore(plan, column,
               arena_printf(plan->arena, "its unit is one of %s", unit_dimension_name(evidence->unit->dimension)),
               "What is in column %s? Its unit is not one of what its name says, so it is left out.");
        return;
    }
    if (evidence->unit || wanted == UNIT_SALINITY || !is_measured(evidence))
        return;
    column->unit = is_height ? "m" : guess_unit(column);
    if (!column->unit) {
        ignore(plan, column, "it has no unit", "Which unit has column %s? It is left out.");
        return;
    }
    struct doubt doubt = {.why = arena_printf(plan->arena, "the header names no unit; values about %.4g",
                                              evidence_quantile(evidence, 0.5)),
                          .question = arena_printf(plan->arena, "Which unit has column %s? Its values would suit %s.",
                                                   quoted(plan, evidence->header), column->unit)};
    if (!column->doubt.why) {
        column->doubt = doubt;
    } else {
        column->doubt.why = arena_printf(plan->arena, "%s; %s", column->doubt.why, doubt.why);
        column->doubt.question = arena_printf(plan->arena, "%s %s", column->doubt.question, doubt.question);
    }
}

/* By magnitude. */
static const char *guess_unit(const struct planned_column *column)
{
    double typical = evidence_quantile(column->evidence, 0.5);
    switch (column->quantity) {
    case QUANTITY_WATER_PRESSURE: return guess_pressure_unit(typical, false);
    case QUANTITY_AIR_PRESSURE: return guess_pressure_unit(typical, true);
    case QUANTITY_TEMPERATURE:
    case QUANTITY_SECOND_TEMPERATURE:
    case QUANTITY_AIR_TEMPERATURE: return typical > 40 ? "degF" : "degC";
    case QUANTITY_OXYGEN: return "mg/L";
    case QUANTITY_OXYGEN_SATURATION: return "%";
    case QUANTITY_CONDUCTIVITY:
    case QUANTITY_SPECIFIC_CONDUCTANCE: return typical > 70 ? "uS/cm" : "mS/cm";
    case QUANTITY_BATTERY: return typical > 100 ? "mV" : "V";
    default: return NULL;
    }
}

static const char *guess_pressure_unit(double typical, bool is_air)
{
    static const struct {
        double below;
        const char *air, *water;
    } units[] = {{0.5, NULL, NULL},   {2.6, "bar", "bar"},  {11.3, "dbar", "dbar"}, {16, "psi", "psi"},
                 {24, NULL, "psi"},   {33, "inHg", "psi"},  {50, NULL, "psi"},      {400, "kPa", "kPa"},
                 {790, "mmHg", NULL}, {5000, "hPa", "hPa"}, {5e4, NULL, NULL},      {1e6, "Pa", "Pa"}};
    for (size_t i = 0; i < COUNT_OF(units); i++)
        if (typical < units[i].below)
            return is_air ? units[i].air : units[i].water;
    return NULL;
}

/* `question` holds one %s for the header. */
static void ignore(struct plan *plan, struct planned_column *column, const char *why, const char *question)
{
    const char *name = quoted(plan, column->evidence->header);
    const char *mark = question ? strstr(question, "%s") : NULL;
    column->role = COLUMN_IGNORED;
    column->is_optional = true;
    column->unit = NULL;
    column->doubt = (struct doubt){.why = why};
    if (mark)
        column->doubt.question =
            arena_printf(plan->arena, "%.*s%s%s", (int)(mark - question), question, name, mark + 2);
}

/* A quantity, or a role of a notebook, stands once in a layout: the first column has it. */
static void drop_repeated(struct plan *plan)
{
    for (size_t i = 1; i < plan->column_count; i++) {
        struct planned_column *column = &plan->columns[i];
        for (size_t k = 0; k < i; k++) {
            const struct planned_column *other = &plan->columns[k];
            bool is_same = column->role == other->role && column->quantity == other->quantity &&
                           column->note_kind == other->note_kind && column->is_reference == other->is_reference;
            if (!is_same || column->role == COLUMN_IGNORED || column->role == COLUMN_TEXT)
                continue;
            if (column->role == COLUMN_QUANTITY && column->quantity == QUANTITY_TEMPERATURE && !has_second(plan)) {
                plan_second_temperature(plan, column, other);
                break;
            }
            ignore(plan, column,
                   arena_printf(plan->arena, "column %s is the same", quoted(plan, other->evidence->header)),
                   arena_printf(plan->arena, "Which of columns %s and %%s counts? The second is left out.",
                                quoted(plan, other->evidence->header)));
            break;
        }
    }
}

static bool has_second(const struct plan *plan)
{
    bool has = false;
    for (size_t i = 0; i < plan->column_count; i++)
        has |= plan->columns[i].role == COLUMN_QUANTITY && plan->columns[i].quantity == QUANTITY_SECOND_TEMPERATURE;
    return has;
}

static void plan_second_temperature(struct plan *plan, struct planned_column *column,
                                    const struct planned_column *first)
{
    const char *name = quoted(plan, column->evidence->header);
    column->quantity = QUANTITY_SECOND_TEMPERATURE;
    column->is_optional = true;
    column->doubt = (struct doubt){
        .why = arena_printf(plan->arena, "column %s is a temperature, too", quoted(plan, first->evidence->header)),
        .question =
            arena_printf(plan->arena,
                         "Is column %s a second thermometer in the same water? Then the two watch each other, and "
                         "'oxygen_thermometer' of the station says which one the oxygen sensor has.",
                         name)};
}

static void plan_long_note(struct plan *plan, struct planned_column *column)
{
    static const struct {
        uint64_t clue;
        enum column_role role;
    } roles[] = {{CLUE_STATION, COLUMN_STATION},    {CLUE_KIND, COLUMN_KIND},        {CLUE_REMARK, COLUMN_TEXT},
                 {CLUE_UNIT, COLUMN_UNIT},          {CLUE_OF, COLUMN_QUANTITY_NAME}, {CLUE_METER, COLUMN_REFERENCE},
                 {CLUE_STANDARD, COLUMN_REFERENCE}, {CLUE_VALUE, COLUMN_VALUE},      {CLUE_LOGGER, COLUMN_VALUE},
                 {CLUE_UNTIL, COLUMN_UNTIL}};
    for (size_t i = 0; i < COUNT_OF(roles); i++) {
        if (!(column->evidence->clues & roles[i].clue))
            continue;
        column->role = roles[i].role;
        if (column->role == COLUMN_KIND || column->role == COLUMN_QUANTITY_NAME)
            plan_words(plan, column);
        return;
    }
    ignore(plan, column, NULL, NULL);
}

/* The crew's words that are not already ours. An unknown kind becomes a remark, which touches no value; an unknown
 * quantity is left out and asked, so that nothing is booked under a wrong one. */
static void plan_words(struct plan *plan, struct planned_column *column)
{
    const struct evidence *evidence = column->evidence;
    bool are_kinds = column->role == COLUMN_KIND;
    struct planned_word *list = are_kinds ? plan->kinds : plan->quantities;
    size_t *count = are_kinds ? &plan->kind_count : &plan->quantity_count;
    for (size_t i = 0; i < evidence->word_count; i++) {
        const char *word = evidence->words[i].text, *shown = quoted(plan, word);
        bool is_ours = are_kinds ? note_kind_find(word) != NOTE_KIND_COUNT : quantity_find(word) != QUANTITY_COUNT;
        if (is_ours || *count == SHAPE_MOST_WORDS || !plan_can_write(word))
            continue;
        uint64_t clues = draft_clues(cell_from(word));
        int meaning = are_kinds ? (int)draft_note_kind(clues) : (int)draft_quantity(clues);
        struct doubt doubt = {0};
        if (!are_kinds && meaning == QUANTITY_COUNT) {
            column->doubt =
                (struct doubt){.why = arena_printf(plan->arena, "%s is no quantity that is known", shown),
                               .question = arena_printf(plan->arena,
                                                        "Which quantity do the crews mean by %s? It belongs under "
                                                        "'quantities'; until then its rows are refused.",
                                                        shown)};
            continue;
        }
        if (are_kinds && meaning == NOTE_KIND_COUNT) {
            meaning = NOTE_REMARK;
            doubt = (struct doubt){.why = "the word is not known",
                                   .question = arena_printf(plan->arena, "What do the crews mean by %s?", shown)};
        }
        list[(*count)++] = (struct planned_word){word, meaning, doubt};
    }
}

static void plan_wide_note(struct plan *plan, struct planned_column *column)
{
    uint64_t clues = column->evidence->clues;
    enum quantity quantity = draft_quantity(clues);
    bool has_quantity = quantity < QUANTITY_COUNT && quantity != QUANTITY_BATTERY &&
                        quantity != QUANTITY_WATER_PRESSURE && quantity != QUANTITY_AIR_PRESSURE;
    column->role = COLUMN_NOTE;
    if (clues & CLUE_STATION && !has_quantity)
        column->role = COLUMN_STATION;
    else if (clues & CLUE_REMARK && !(clues & (CLUE_STAFF | CLUE_TAPE)))
        column->role = COLUMN_TEXT;
    else if (clues & CLUE_TAPE)
        column->note_kind = NOTE_TAPE_DOWN;
    else if (has_quantity)
        plan_check(plan, column, quantity);
    else if (clues & (CLUE_STAFF | CLUE_DEPTH) && !(clues & CLUE_LOGGER))
        column->note_kind = NOTE_LEVEL;
    else if (clues & CLUE_CLOCK)
        column->note_kind = NOTE_CLOCK;
    else if (clues & CLUE_OUT)
        column->note_kind = NOTE_OUT_OF_WATER;
    else if (clues & CLUE_IN)
        column->note_kind = NOTE_IN_WATER;
    else if (clues & CLUE_BATTERY && column->evidence->numbers == 0) /* when it got new ones, not how many volts */
        column->note_kind = NOTE_BATTERY;
    else if (clues & CLUE_SERIAL)
        column->note_kind = NOTE_INSTRUMENT;
    else
        ignore(plan, column, column->evidence->numbers > 0 ? "nothing says what it is" : NULL,
               column->evidence->numbers > 0 ? "What is in column %s? It is left out." : NULL);
}

static void plan_check(struct plan *plan, struct planned_column *column, enum quantity quantity)
{
    uint64_t clues = column->evidence->clues;
    const struct unit *unit = column->evidence->unit;
    if (quantity == QUANTITY_OXYGEN && unit && unit->dimension == UNIT_PERCENTAGE)
        quantity = QUANTITY_OXYGEN_SATURATION;
    if (quantity == QUANTITY_AIR_TEMPERATURE) {
        ignore(plan, column, NULL, NULL);
        return;
    }
    column->quantity = quantity;
    column->note_kind = clues & CLUE_STANDARD ? NOTE_STANDARD : clues & CLUE_CLEANED ? NOTE_CHECK_CLEANED : NOTE_CHECK;
    column->is_reference = clues & CLUE_METER && !(clues & CLUE_LOGGER);
}

/* A check without the meter's side: the one value there is must be the meter's. */
static void find_references(struct plan *plan)
{
    for (size_t i = 0; i < plan->column_count; i++) {
        struct planned_column *column = &plan->columns[i];
        bool has_other = false;
        if (column->role != COLUMN_NOTE || column->quantity == QUANTITY_COUNT || column->is_reference)
            continue;
        for (size_t k = 0; k < plan->column_count; k++)
            has_other |= plan->columns[k].role == COLUMN_NOTE && plan->columns[k].is_reference &&
                         plan->columns[k].note_kind == column->note_kind &&
                         plan->columns[k].quantity == column->quantity;
        if (has_other)
            continue;
        column->is_reference = true;
        if (!column->doubt.why)
            column->doubt = (struct doubt){
                .why = "taken for the reading of the hand meter",
                .question = arena_printf(plan->arena,
                                         "Is column %s the reading of the hand meter? The logger's own has "
                                         "no `reference: true`.",
                                         quoted(plan, column->evidence->header))};
    }
}

static bool measures(const struct planned_column *column)
{
    bool is_height =
        column->role == COLUMN_NOTE && (column->note_kind == NOTE_LEVEL || column->note_kind == NOTE_TAPE_DOWN);
    return is_height ||
           ((column->role == COLUMN_QUANTITY || column->role == COLUMN_NOTE) && column->quantity < QUANTITY_COUNT);
}

static const char *quoted(struct plan *plan, const char *text)
{
    return arena_printf(plan->arena, "'%s'", cell_quote(cell_from(text)).text);
}
