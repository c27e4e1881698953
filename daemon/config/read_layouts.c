/* SPDX-License-Identifier: MIT */
#include "config/sections.h"

#include "config/value.h"
#include "config/vocabulary.h"

#include <stdio.h>
#include <string.h>

enum { LARGEST_COLUMNS = 200, LARGEST_MEANINGS = 1000 };

static void take_layout(struct reader *reader, const struct entry *entry, struct capacities *room);
static void read_time(struct reader *reader, const yaml_node_t *time, struct layout *layout);
static void read_zone(struct reader *reader, const yaml_node_t *time, struct layout *layout);
static void read_columns(struct reader *reader, const yaml_node_t *list, struct layout *layout);
static bool read_column(struct reader *reader, const yaml_node_t *map, struct column *ret);
static bool read_role(struct reader *reader, const yaml_node_t *node, struct column *column);
static void check_note_column(struct reader *reader, const yaml_node_t *map, const struct column *column);
static void check_unit(struct reader *reader, const yaml_node_t *map, const struct column *column);
static bool measured_dimension(const struct column *column, enum unit_dimension *ret);
static bool compares_sensor(enum note_kind kind);
static bool may_name_quantity(enum note_kind kind);
static void read_meanings(struct reader *reader, const yaml_node_t *map, const char *key, const char *(*choice)(int),
                          struct word_meaning **ret, size_t *ret_count);
static bool word_is_known(const struct word_meaning *list, size_t count, const char *word);
static const char *role_or_quantity(const void *context, size_t index);

void read_layouts(struct reader *reader, const yaml_node_t *map, struct capacities *room)
{
    reader_entries(reader, map, "layout", take_layout, room);
}

static void take_layout(struct reader *reader, const struct entry *entry, struct capacities *room)
{
    struct config *config = reader->config;
    struct layout layout = {.id = entry->id, .where = entry->where};
    reader_section(reader, &section_layout, entry->map, entry->title, &layout);
    if (entry->map->type == YAML_MAPPING_NODE) {
        const yaml_node_t *time = reader_find(reader, entry->map, "time");
        const yaml_node_t *columns = reader_find(reader, entry->map, "columns");
        const yaml_node_t *kinds = reader_find(reader, entry->map, "kinds");
        const yaml_node_t *quantities = reader_find(reader, entry->map, "quantities");
        if (time && time->type == YAML_MAPPING_NODE)
            read_time(reader, time, &layout);
        if (columns)
            read_columns(reader, columns, &layout);
        if (kinds)
            read_meanings(reader, kinds, "kinds", note_kind_choice, &layout.kinds, &layout.kind_count);
        if (quantities)
            read_meanings(reader, quantities, "quantities", quantity_choice, &layout.quantities,
                          &layout.quantity_count);
    }
    config->layouts = x_grow(config->layouts, config->layout_count, &room->layouts, sizeof layout);
    config->layouts[config->layout_count++] = layout;
}

static void read_time(struct reader *reader, const yaml_node_t *time, struct layout *layout)
{
    const yaml_node_t *columns = reader_find(reader, time, "columns");
    struct word_list list = {NULL, 0};
    if (columns)
        reader_words(reader, columns, "columns", &list);
    if (columns && (list.count == 0 || list.count > 2))
        reader_complain(reader, columns, "'columns' of the time%s names %zu columns, expected one or two",
                        reader->about, list.count);
    for (size_t i = 0; i < 2 && i < list.count; i++)
        layout->time_columns[i] = list.words[i];
    const char *format = layout->time_format;
    if (format && !text_equal_ignoring_case(format, "iso") &&
        !(strchr(format, 'Y') && strchr(format, 'M') && strchr(format, 'D')))
        reader_complain(reader, reader_find(reader, time, "format"),
                        "'format'%s needs year, month and day, such as 'YYYY-MM-DD hh:mm', or 'iso', found '%.60s'",
                        reader->about, format);
    if (layout->zone_name)
        read_zone(reader, time, layout);
}

static void read_zone(struct reader *reader, const yaml_node_t *time, struct layout *layout)
{
    struct error error;
    if (value_same_word(layout->zone_name, "station"))
        return;
    layout->zone = zone_load(layout->zone_name, &error);
    if (!layout->zone)
        reader_complain(reader, reader_find(reader, time, "zone"), "'zone'%s: %s, or 'station'", reader->about,
                        error.text);
}

static void read_columns(struct reader *reader, const yaml_node_t *list, struct layout *layout)
{
    if (!reader_is_list(reader, list, "'columns'"))
        return;
    const yaml_node_item_t *items = list->data.sequence.items.start;
    size_t count = (size_t)(list->data.sequence.items.top - items);
    if (count > LARGEST_COLUMNS) {
        reader_complain(reader, list, "'columns'%s has %zu entries, more than the limit of %d", reader->about, count,
                        LARGEST_COLUMNS);
        return;
    }
    layout->columns = arena_array(reader->config->arena, count, sizeof *layout->columns);
    for (size_t i = 0; i < count; i++) {
        const yaml_node_t *item = reader_node(reader, items[i]);
        if (!item)
            return;
        if (read_column(reader, item, &layout->columns[layout->column_count]))
            layout->column_count++;
    }
}

/* False where it is too broken for check.c to look at. */
static bool read_column(struct reader *reader, const yaml_node_t *map, struct column *ret)
{
    *ret =
        (struct column){.quantity = QUANTITY_COUNT, .note_kind = NOTE_KIND_COUNT, .where = reader_place(reader, map)};
    reader_section(reader, &section_column, map, "a column", ret);
    if (map->type != YAML_MAPPING_NODE)
        return false;
    const yaml_node_t *role = reader_find(reader, map, "is");
    if (!role || !read_role(reader, role, ret))
        return false;
    check_note_column(reader, map, ret);
    check_unit(reader, map, ret);
    return true;
}

static bool read_role(struct reader *reader, const yaml_node_t *node, struct column *column)
{
    const char *word = reader_text(reader, node, "is");
    if (!word)
        return false;
    enum quantity quantity = quantity_find(word);
    if (quantity != QUANTITY_COUNT) {
        column->role = COLUMN_QUANTITY;
        column->quantity = quantity;
        return true;
    }
    for (int role = COLUMN_QUANTITY + 1; column_role_choice(role); role++) {
        if (value_same_word(column_role_choice(role), word)) {
            column->role = (enum column_role)role;
            return true;
        }
    }
    const char *nearest = option_nearest(word, role_or_quantity, NULL);
    reader_complain(reader, node, "'is'%s has the unknown word '%.60s', expected %s%s%s", reader->about, word,
                    nearest ? "'" : "", nearest ? nearest : option_find(&section_column, "is")->help,
                    nearest ? "'" : "");
    return false;
}

static void check_note_column(struct reader *reader, const yaml_node_t *map, const struct column *column)
{
    const yaml_node_t *note = reader_find_key(reader, map, "note"),
                      *quantity = reader_find_key(reader, map, "quantity");
    const yaml_node_t *reference = reader_find_key(reader, map, "reference");
    if (column->role != COLUMN_NOTE) {
        const yaml_node_t *stray = note ? note : quantity ? quantity : reference;
        if (stray)
            reader_complain(reader, stray, "'%s' goes with 'is: note' only", (const char *)stray->data.scalar.value);
        return;
    }
    if (!note)
        reader_complain(reader, map, "a column with 'is: note' has no 'note': which kind a filled cell is");
    if (!note || column->note_kind == NOTE_KIND_COUNT)
        return;
    const char *word = note_kind_word(column->note_kind);
    if (!quantity && compares_sensor(column->note_kind))
        reader_complain(reader, map, "a column with 'note: %s' has no 'quantity': what was checked", word);
    if (quantity && !may_name_quantity(column->note_kind))
        reader_complain(reader, quantity, "'note: %s' has no 'quantity': remove it", word);
    if (reference && column->is_reference && !compares_sensor(column->note_kind))
        reader_complain(reader, reference, "'reference' goes with check, check_cleaned and standard only");
}

static void check_unit(struct reader *reader, const yaml_node_t *map, const struct column *column)
{
    const yaml_node_t *node = reader_find(reader, map, "unit");
    if (!node || !column->unit)
        return;
    const struct unit *unit = unit_find(column->unit, strlen(column->unit));
    enum unit_dimension dimension;
    bool is_free = column->role == COLUMN_VALUE || column->role == COLUMN_REFERENCE;
    bool is_measured = measured_dimension(column, &dimension);
    if (!unit)
        reader_complain(reader, node, "unknown unit '%.60s', expected one such as 'm', 'degC' or 'mg/L'", column->unit);
    else if (!is_free && !is_measured)
        reader_complain(reader, node, "a column without measured values has no 'unit': remove it");
    else if (is_measured && unit->dimension != dimension)
        reader_complain(reader, node, "'unit' of a column of %s is one of %s, found '%.60s', one of %s",
                        dimension == UNIT_LENGTH && column->role == COLUMN_NOTE ? note_kind_word(column->note_kind)
                                                                                : quantity_info(column->quantity)->key,
                        unit_dimension_name(dimension), column->unit, unit_dimension_name(unit->dimension));
}

/* Values of which kind stand in the column. */
static bool measured_dimension(const struct column *column, enum unit_dimension *ret)
{
    bool is_height =
        column->role == COLUMN_NOTE && (column->note_kind == NOTE_LEVEL || column->note_kind == NOTE_TAPE_DOWN);
    bool is_check = column->role == COLUMN_NOTE && column->note_kind != NOTE_KIND_COUNT &&
                    compares_sensor(column->note_kind) && column->quantity != QUANTITY_COUNT;
    if (!is_height && !is_check && column->role != COLUMN_QUANTITY)
        return false;
    *ret = is_height ? UNIT_LENGTH : quantity_dimension(column->quantity);
    return true;
}

static bool compares_sensor(enum note_kind kind)
{
    return kind == NOTE_CHECK || kind == NOTE_CHECK_CLEANED || kind == NOTE_STANDARD;
}

static bool may_name_quantity(enum note_kind kind)
{
    return compares_sensor(kind) || kind == NOTE_STRIKE || kind == NOTE_RESTORE;
}

static void read_meanings(struct reader *reader, const yaml_node_t *map, const char *key, const char *(*choice)(int),
                          struct word_meaning **ret, size_t *ret_count)
{
    char title[TITLE_SIZE + 16];
    snprintf(title, sizeof title, "'%s'%s", key, reader->about);
    if (!reader_is_map(reader, map, title))
        return;
    size_t count = (size_t)(map->data.mapping.pairs.top - map->data.mapping.pairs.start), used = 0;
    if (count > LARGEST_MEANINGS) {
        reader_complain(reader, map, "%s has %zu entries, more than the limit of %d", title, count, LARGEST_MEANINGS);
        return;
    }
    struct word_meaning *list = arena_array(reader->config->arena, count, sizeof *list);
    for (size_t i = 0; i < count; i++) {
        const yaml_node_t *name = reader_node(reader, map->data.mapping.pairs.start[i].key);
        const yaml_node_t *value = reader_node(reader, map->data.mapping.pairs.start[i].value);
        if (!name || !value)
            return;
        const char *word = reader_text(reader, name, "a word");
        int meaning = word ? reader_choice(reader, value, word, choice) : -1;
        if (word && word_is_known(list, used, word))
            reader_complain(reader, name, "'%.60s' stands twice in %s", word, title);
        else if (meaning >= 0)
            list[used++] = (struct word_meaning){.word = arena_strdup(reader->config->arena, word), .meaning = meaning};
    }
    *ret = list;
    *ret_count = used;
}

/* As notes compare them: case does not count. */
static bool word_is_known(const struct word_meaning *list, size_t count, const char *word)
{
    for (size_t i = 0; i < count; i++)
        if (value_same_word(list[i].word, word))
            return true;
    return false;
}

static const char *role_or_quantity(const void *context, size_t index)
{
    (void)context; /* the shape that option_nearest wants */
    const int roles = COLUMN_IGNORED;
    if (index < (size_t)roles)
        return column_role_choice((int)index + 1);
    return quantity_choice((int)index - roles);
}
