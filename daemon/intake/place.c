/* SPDX-License-Identifier: MIT */
#include "intake/place.h"

#include "base/text.h"
#include "config/parts.h"

#include <string.h>

enum evidence_kind { EVIDENCE_SERIAL, EVIDENCE_LABEL, EVIDENCE_PATH, EVIDENCE_COUNT };

struct claim {
    enum place_kind kind;
    size_t index;
    const char *by; /* the serial, label or pattern of the settings */
};

/* Places to which one piece of evidence points. */
struct claims {
    struct arena *arena;
    struct claim *list;
    size_t count, capacity;
    const char *what; /* "serial 'SN-1' in line 2"; NULL for the path, where the pattern says it */
};

static bool names(const struct station *station, struct cell label);
static bool fail_elsewhere(const struct config *config, const struct station *station, struct error *error);
static struct cell labelled_value(const struct row *row, const char *label);
static struct cell value_behind(struct cell cell, const char *label);
static void collect(struct arena *arena, const struct config *config, const char *path, const struct place_hints *hints,
                    struct claims claims[EVIDENCE_COUNT]);
static void collect_place(struct claims claims[EVIDENCE_COUNT], struct claim place, const char *path,
                          const struct place_hints *hints, const char *const names[2], const struct word_list *serials,
                          const struct word_list *labels, const struct word_list *drops);
static void add_claim(struct claims *claims, struct claim claim, const char *by);
static const char *find_word(const struct word_list *words, struct cell cell);
static const char *describe(const struct claims *claims, const struct claim *claim);
static const struct claim *claim_for(const struct claims *claims, const struct claim *place);
static bool keep_kind(const struct config *config, struct claims *claims, enum place_need need, struct error *error);
static bool narrow(const struct config *config, struct claims *claims, const struct claims *by, struct error *error);
static bool fail_unclear(const struct config *config, const struct claims *claims, struct error *error);

struct place_hints place_hints_find(const struct binding *binding)
{
    struct place_hints hints = {0};
    const struct layout *layout = binding->layout;
    for (size_t i = 0; i < binding->header_row; i++) {
        const struct row *row = &binding->head.rows[i];
        if (layout->serial_label && hints.serial.length == 0) {
            hints.serial = labelled_value(row, layout->serial_label);
            hints.serial_line = row->line;
        }
        if (layout->station_label && hints.label.length == 0) {
            hints.label = labelled_value(row, layout->station_label);
            hints.label_line = row->line;
        }
    }
    return hints;
}

bool place_find(struct arena *arena, const struct config *config, const char *path, const struct place_hints *hints,
                enum place_need need, struct place_found *ret, struct error *error)
{
    struct claims claims[EVIDENCE_COUNT] = {0};
    *ret = (struct place_found){.evidence = ""};
    collect(arena, config, path, hints, claims);
    ret->knows_serial = claims[EVIDENCE_SERIAL].count > 0;
    ret->knows_label = claims[EVIDENCE_LABEL].count > 0;
    struct claims *agreed = NULL;
    for (size_t i = 0; i < EVIDENCE_COUNT; i++) {
        if (claims[i].count == 0)
            continue;
        if (!keep_kind(config, &claims[i], need, error))
            return false;
        if (agreed && !narrow(config, agreed, &claims[i], error))
            return false;
        agreed = agreed ? agreed : &claims[i];
    }
    if (!agreed)
        return true;
    if (agreed->count > 1)
        return fail_unclear(config, agreed, error);
    if (agreed->list[0].kind == PLACE_ELSEWHERE)
        return fail_elsewhere(config, &config->elsewhere[agreed->list[0].index], error);
    ret->kind = agreed->list[0].kind;
    ret->index = agreed->list[0].index;
    for (size_t i = 0; i < EVIDENCE_COUNT; i++) {
        const struct claim *claim = claim_for(&claims[i], &agreed->list[0]);
        if (claim)
            ret->evidence =
                arena_printf(arena, "%s%s%s", ret->evidence, *ret->evidence ? "; " : "", describe(&claims[i], claim));
    }
    return true;
}

size_t place_find_station(const struct config *config, struct cell label)
{
    size_t found = config->station_count;
    for (size_t i = 0; i < config->station_count && label.length > 0; i++) {
        if (!names(&config->stations[i], label))
            continue;
        if (found < config->station_count)
            return config->station_count;
        found = i;
    }
    return found;
}

bool place_is_elsewhere(const struct config *config, struct cell label)
{
    for (size_t i = 0; i < config->elsewhere_count && label.length > 0; i++)
        if (names(&config->elsewhere[i], label))
            return true;
    return false;
}

const char *place_id(const struct config *config, enum place_kind kind, size_t index)
{
    if (kind == PLACE_ELSEWHERE)
        return config->elsewhere[index].id;
    return kind == PLACE_BAROMETER ? config->barometers[index].id : config->stations[index].id;
}

const char *place_word(enum place_kind kind)
{
    return kind == PLACE_BAROMETER ? "barometer" : "station";
}

static bool names(const struct station *station, struct cell label)
{
    return cell_is(label, station->id) || cell_is(label, station->name) || find_word(&station->labels, label);
}

static bool fail_elsewhere(const struct config *config, const struct station *station, struct error *error)
{
    const struct network_part *part = parts_of_station(config, station->id);
    return fail(error, ERROR_ELSEWHERE, "of station '%s', which part '%s' has", station->id, part ? part->id : "");
}

static struct cell labelled_value(const struct row *row, const char *label)
{
    for (size_t i = 0; i < row->count; i++) {
        struct cell cell = row->cells[i];
        if (!cell_begins(cell, label))
            continue;
        struct cell value = value_behind(cell, label);
        for (size_t k = i + 1; value.text && value.length == 0 && k < row->count; k++)
            value = row->cells[k];
        if (value.length > 0)
            return value;
    }
    return (struct cell){0};
}

/* "Serial: X" gives X; "Serial" and "Serial:" give an empty cell; "Serials of ..." gives no text at all. In a comment,
 * which is one cell, a delimiter may stand in place of the colon. */
static struct cell value_behind(struct cell cell, const char *label)
{
    size_t used = strlen(label);
    struct cell rest = cell_trim(cell.text + used, cell.length - used);
    if (rest.length == 0)
        return rest;
    if (!strchr(":=,;\t|", *rest.text) || *rest.text == '\0')
        return used > 0 && label[used - 1] == ':' ? rest : (struct cell){0};
    rest = cell_trim(rest.text + 1, rest.length - 1);
    return rest;
}

static void collect(struct arena *arena, const struct config *config, const char *path, const struct place_hints *hints,
                    struct claims claims[EVIDENCE_COUNT])
{
    for (size_t i = 0; i < EVIDENCE_COUNT; i++)
        claims[i].arena = arena;
    claims[EVIDENCE_SERIAL].what =
        arena_printf(arena, "serial '%s' in line %u", cell_quote(hints->serial).text, hints->serial_line);
    claims[EVIDENCE_LABEL].what =
        arena_printf(arena, "label '%s' in line %u", cell_quote(hints->label).text, hints->label_line);
    for (size_t i = 0; i < config->station_count + config->elsewhere_count; i++) {
        bool is_own = i < config->station_count;
        size_t index = is_own ? i : i - config->station_count;
        const struct station *station = is_own ? &config->stations[index] : &config->elsewhere[index];
        collect_place(claims, (struct claim){is_own ? PLACE_STATION : PLACE_ELSEWHERE, index, NULL}, path, hints,
                      (const char *const[2]){station->id, station->name}, &station->serials, &station->labels,
                      &station->drops);
    }
    for (size_t i = 0; i < config->barometer_count; i++) {
        const struct barometer *barometer = &config->barometers[i];
        collect_place(claims, (struct claim){PLACE_BAROMETER, i, NULL}, path, hints,
                      (const char *const[2]){barometer->id, barometer->name}, &barometer->serials, &barometer->labels,
                      &barometer->drops);
    }
}

static void collect_place(struct claims claims[EVIDENCE_COUNT], struct claim place, const char *path,
                          const struct place_hints *hints, const char *const names[2], const struct word_list *serials,
                          const struct word_list *labels, const struct word_list *drops)
{
    if (hints->serial.length > 0)
        add_claim(&claims[EVIDENCE_SERIAL], place, find_word(serials, hints->serial));
    if (hints->label.length > 0) {
        const char *by = find_word(labels, hints->label);
        for (size_t i = 0; i < 2 && !by; i++)
            by = names[i] && cell_is(hints->label, names[i]) ? names[i] : NULL;
        add_claim(&claims[EVIDENCE_LABEL], place, by);
    }
    for (size_t i = 0; path && i < drops->count; i++) {
        if (text_matches(drops->words[i], path, true)) {
            add_claim(&claims[EVIDENCE_PATH], place, drops->words[i]);
            break;
        }
    }
}

static void add_claim(struct claims *claims, struct claim claim, const char *by)
{
    if (!by)
        return;
    if (claims->count == claims->capacity) {
        claims->capacity = claims->capacity ? claims->capacity * 2 : 8;
        struct claim *list = arena_array(claims->arena, claims->capacity, sizeof *list);
        if (claims->count > 0)
            memcpy(list, claims->list, claims->count * sizeof *list);
        claims->list = list;
    }
    claim.by = by;
    claims->list[claims->count++] = claim;
}

static const char *find_word(const struct word_list *words, struct cell cell)
{
    for (size_t i = 0; i < words->count; i++)
        if (cell_is(cell, words->words[i]))
            return words->words[i];
    return NULL;
}

static const char *describe(const struct claims *claims, const struct claim *claim)
{
    return claims->what ? claims->what : arena_printf(claims->arena, "path matches '%s'", claim->by);
}

static const struct claim *claim_for(const struct claims *claims, const struct claim *place)
{
    for (size_t i = 0; i < claims->count; i++)
        if (claims->list[i].kind == place->kind && claims->list[i].index == place->index)
            return &claims->list[i];
    return NULL;
}

static bool keep_kind(const struct config *config, struct claims *claims, enum place_need need, struct error *error)
{
    if (need == PLACE_NEED_ANY)
        return true;
    enum place_kind wanted = need == PLACE_NEED_STATION ? PLACE_STATION : PLACE_BAROMETER;
    struct claim first = claims->list[0];
    size_t kept = 0;
    for (size_t i = 0; i < claims->count; i++)
        if (claims->list[i].kind == wanted || (wanted == PLACE_STATION && claims->list[i].kind == PLACE_ELSEWHERE))
            claims->list[kept++] = claims->list[i];
    claims->count = kept;
    return kept > 0 || fail(error, ERROR_INPUT,
                            "%s: that is %s '%s', but the file holds %s: correct the settings, or move the file",
                            describe(claims, &first), place_word(first.kind), place_id(config, first.kind, first.index),
                            wanted == PLACE_STATION ? "readings or notes from water" : "air pressure only");
}

/* Keep what both name. */
static bool narrow(const struct config *config, struct claims *claims, const struct claims *by, struct error *error)
{
    struct claim first = claims->list[0], other = by->list[0];
    size_t kept = 0;
    for (size_t i = 0; i < claims->count; i++)
        if (claim_for(by, &claims->list[i]))
            claims->list[kept++] = claims->list[i];
    claims->count = kept;
    return kept > 0 || fail(error, ERROR_INPUT,
                            "%s: that is %s '%s', but %s: that is %s '%s'; the file is swapped or mislabelled: move "
                            "it, or correct the "
                            "settings",
                            describe(claims, &first), place_word(first.kind), place_id(config, first.kind, first.index),
                            describe(by, &other), place_word(other.kind), place_id(config, other.kind, other.index));
}

static bool fail_unclear(const struct config *config, const struct claims *claims, struct error *error)
{
    const struct claim *a = &claims->list[0], *b = &claims->list[1];
    return fail(error, ERROR_INPUT,
                "%s, but so it is for %s '%s' ('%s') and %s '%s' ('%s'): make them different in the settings",
                describe(claims, a), place_word(a->kind), place_id(config, a->kind, a->index), a->by,
                place_word(b->kind), place_id(config, b->kind, b->index), b->by);
}
