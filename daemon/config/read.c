/* SPDX-License-Identifier: MIT */
#include "config/read.h"

#include "config/path.h"
#include "config/problems.h"
#include "config/value.h"
#include "config/vocabulary.h"

#include <assert.h>
#include <ctype.h>
#include <math.h>
#include <limits.h>
#include <stdarg.h>
#include <stdio.h>
#include <string.h>

enum { LARGEST_LIST = 1000 };

_Static_assert(sizeof(enum rule_kind) == sizeof(int) && sizeof(enum priority) == sizeof(int),
               "choices are written through int");

static const yaml_node_t *find_key_of(struct reader *reader, const yaml_node_t *map, const struct option *option);
static void set_standards(struct reader *reader, const struct section *section, void *base);
static void read_option(struct reader *reader, const struct option *option, const yaml_node_t *node, void *base);
static bool is_scalar_type(enum option_type type);
static void read_scalar(struct reader *reader, const struct option *option, const yaml_node_t *node, void *field);
static bool set_scalar(struct reader *reader, const struct option *option, const char *text, void *field,
                       struct error *error);
static bool set_number(const struct option *option, int dimension, const char *text, void *field, struct error *error);
static bool is_in_bounds(const struct option *option, double value, const char *text, struct error *error);
static bool set_text(struct reader *reader, const struct option *option, const char *text, void *field,
                     struct error *error);
static void read_pair(struct reader *reader, const struct option *option, const yaml_node_t *node, double *pair);
static bool set_end(struct reader *reader, const struct option *option, const yaml_node_t *node, bool is_upper,
                    double *ret);
static void set_choice(struct reader *reader, const struct option *option, const yaml_node_t *node, void *field);
static void read_choices(struct reader *reader, const struct option *option, const yaml_node_t *node, uint32_t *ret);
static bool set_choices(const struct option *option, const char *list, uint32_t *ret);
static void read_secret(struct reader *reader, const char *key, const yaml_node_t *node, struct secret *secret);
static void complain_unknown(struct reader *reader, const yaml_node_t *node, const struct section *section,
                             const char *title, const char *key);
static bool has_control_bytes(const char *text, size_t length, bool may_have_lines);
static bool is_empty_node(const yaml_node_t *node);
static int dimension_of(const struct reader *reader, const struct option *option);
static const char *key_of_section(const void *section, size_t index);
static const char *word_of_choice(const void *choice, size_t index);

struct choice_words {
    const char *(*choice)(int);
};

yaml_node_t *reader_node(struct reader *reader, int index)
{
    yaml_node_t *node = yaml_document_get_node(reader->document, index);
    if (*reader->steps > 1) {
        --*reader->steps;
        return node;
    }
    if (*reader->steps == 1 && node) {
        reader_complain(reader, node, "the settings are too large from here on: do aliases repeat them?");
        *reader->steps = 0;
    }
    return NULL;
}

struct place reader_place(const struct reader *reader, const yaml_node_t *node)
{
    return (struct place){
        .file = reader->file, .line = (int)node->start_mark.line + 1, .column = (int)node->start_mark.column + 1};
}

void reader_complain(struct reader *reader, const yaml_node_t *node, const char *format, ...)
{
    char text[2048];
    va_list arguments;
    va_start(arguments, format);
    vsnprintf(text, sizeof text, format, arguments);
    va_end(arguments);
    problem_add(reader->problems, reader_place(reader, node), "%s", text);
}

void reader_complain_value(struct reader *reader, const yaml_node_t *node, const char *key, const struct error *error)
{
    reader_complain(reader, node, "'%s'%s %s", key, reader->about, error->text);
}

bool reader_is_map(struct reader *reader, const yaml_node_t *node, const char *what)
{
    if (node->type == YAML_MAPPING_NODE)
        return true;
    if (is_empty_node(node))
        reader_complain(reader, node, "%s is empty, expected 'key: value' lines", what);
    else
        reader_complain(reader, node, "%s must be a map, expected 'key: value' lines, found %s", what,
                        node->type == YAML_SEQUENCE_NODE ? "a list" : "a single value");
    return false;
}

bool reader_is_list(struct reader *reader, const yaml_node_t *node, const char *what)
{
    if (node->type == YAML_SEQUENCE_NODE)
        return true;
    reader_complain(reader, node, "%s must be a list, expected '- ...' lines or '[..., ...]', found %s", what,
                    node->type == YAML_MAPPING_NODE ? "a map" : "a single value");
    return false;
}

const char *reader_text(struct reader *reader, const yaml_node_t *node, const char *what)
{
    if (node->type != YAML_SCALAR_NODE) {
        reader_complain(reader, node, "'%s' must be a single value, found a %s", what,
                        node->type == YAML_MAPPING_NODE ? "map" : "list");
        return NULL;
    }
    const char *text = (const char *)node->data.scalar.value;
    if (has_control_bytes(text, node->data.scalar.length, true)) {
        reader_complain(reader, node, "'%s' has control bytes in it, expected plain text", what);
        return NULL;
    }
    return text;
}

yaml_node_t *reader_find(struct reader *reader, const yaml_node_t *map, const char *key)
{
    for (yaml_node_pair_t *pair = map->data.mapping.pairs.start; pair < map->data.mapping.pairs.top; pair++) {
        const yaml_node_t *name = yaml_document_get_node(reader->document, pair->key);
        if (name->type == YAML_SCALAR_NODE && strcmp((const char *)name->data.scalar.value, key) == 0)
            return yaml_document_get_node(reader->document, pair->value);
    }
    return NULL;
}

yaml_node_t *reader_find_key(struct reader *reader, const yaml_node_t *map, const char *key)
{
    for (yaml_node_pair_t *pair = map->data.mapping.pairs.start; pair < map->data.mapping.pairs.top; pair++) {
        yaml_node_t *name = yaml_document_get_node(reader->document, pair->key);
        if (name->type == YAML_SCALAR_NODE && strcmp((const char *)name->data.scalar.value, key) == 0)
            return name;
    }
    return NULL;
}

void reader_words(struct reader *reader, const yaml_node_t *node, const char *key, struct word_list *ret)
{
    bool is_single = node->type == YAML_SCALAR_NODE;
    char title[128];
    snprintf(title, sizeof title, "'%s'", key);
    if (!is_single && !reader_is_list(reader, node, title))
        return;
    const yaml_node_item_t *items = is_single ? NULL : node->data.sequence.items.start;
    size_t count = is_single ? 1 : (size_t)(node->data.sequence.items.top - items);
    if (count > LARGEST_LIST) {
        reader_complain(reader, node, "'%s' has %zu entries, more than the limit of %d", key, count, LARGEST_LIST);
        return;
    }
    if (count == 0)
        return;
    *ret = (struct word_list){.words = arena_array(reader->config->arena, count, sizeof *ret->words)};
    const struct option word = {.key = key, .type = OPTION_TEXT};
    for (size_t i = 0; i < count; i++) {
        const yaml_node_t *item = is_single ? node : reader_node(reader, items[i]);
        if (!item)
            return;
        const char *text = NULL;
        read_scalar(reader, &word, item, &text);
        if (text)
            ret->words[ret->count++] = text;
    }
}

int reader_choice(struct reader *reader, const yaml_node_t *node, const char *key, const char *(*choice)(int))
{
    const char *text = reader_text(reader, node, key);
    if (!text)
        return -1;
    char list[1024];
    size_t length = 0;
    for (int i = 0; choice(i); i++) {
        if (value_same_word(choice(i), text))
            return i;
        length += (size_t)snprintf(list + length, sizeof list - length, "%s%s", i > 0 ? ", " : "", choice(i));
        assert(length < sizeof list);
    }
    const char *nearest = option_nearest(text, word_of_choice, &(struct choice_words){choice});
    if (nearest)
        reader_complain(reader, node, "'%s'%s has the unknown word '%.60s', expected '%s'", key, reader->about, text,
                        nearest);
    else
        reader_complain(reader, node, "'%s'%s has the unknown word '%.60s', expected one of: %s", key, reader->about,
                        text, list);
    return -1;
}

void reader_section(struct reader *reader, const struct section *section, const yaml_node_t *map, const char *title,
                    void *base)
{
    set_standards(reader, section, base);
    if (!map || !reader_is_map(reader, map, title))
        return;
    uint64_t seen = 0;
    for (yaml_node_pair_t *pair = map->data.mapping.pairs.start; pair < map->data.mapping.pairs.top; pair++) {
        const yaml_node_t *key = reader_node(reader, pair->key), *value = reader_node(reader, pair->value);
        if (!key || !value)
            return;
        const char *name = reader_text(reader, key, "a key");
        if (!name)
            continue;
        const struct option *option = option_find(section, name);
        uint64_t bit = option ? (uint64_t)1 << (option - section->options) : 0;
        if (!option)
            complain_unknown(reader, key, section, title, name);
        else if (seen & bit)
            reader_complain(reader, key, "'%s' stands twice in %s, first in line %d", name, title,
                            reader_place(reader, find_key_of(reader, map, option)).line);
        else
            read_option(reader, option, value, base);
        seen |= bit;
    }
    for (size_t i = 0; i < section->count; i++)
        if (section->options[i].is_required && !(seen & (uint64_t)1 << i))
            reader_complain(reader, map, "%s has no '%s': %s", title, section->options[i].key,
                            section->options[i].help);
}

/* The first key of the map that means the option, by whichever of its names. */
static const yaml_node_t *find_key_of(struct reader *reader, const yaml_node_t *map, const struct option *option)
{
    const yaml_node_t *now = reader_find_key(reader, map, option->key);
    const yaml_node_t *former = option->former ? reader_find_key(reader, map, option->former) : NULL;
    return !now || (former && former->start_mark.index < now->start_mark.index) ? former : now;
}

void reader_entries(struct reader *reader, const yaml_node_t *map, const char *noun,
                    void (*take)(struct reader *, const struct entry *, struct capacities *), struct capacities *room)
{
    char title[TITLE_SIZE];
    snprintf(title, sizeof title, "'%ss'", noun);
    if (!reader_is_map(reader, map, title))
        return;
    for (yaml_node_pair_t *pair = map->data.mapping.pairs.start; pair < map->data.mapping.pairs.top; pair++) {
        const yaml_node_t *key = reader_node(reader, pair->key), *value = reader_node(reader, pair->value);
        if (!key || !value)
            return;
        struct entry entry = {.where = reader_place(reader, key), .map = value};
        const char *id = reader_text(reader, key, "an id");
        if (!id)
            continue;
        if (!reader_is_id(id)) {
            reader_complain(reader, key,
                            "'%.80s' cannot be the id of a %s: expected 1 to %d letters, digits, '.', '_', '-', the "
                            "first a letter or digit",
                            id, noun, LONGEST_ID);
            continue;
        }
        entry.id = arena_strdup(reader->config->arena, id);
        snprintf(entry.title, sizeof entry.title, "%s '%s'", noun, id);
        snprintf(entry.about, sizeof entry.about, " of %s '%s'", noun, id);
        reader->about = entry.about;
        take(reader, &entry, room);
        reader->about = "";
    }
}

bool reader_is_id(const char *text)
{
    size_t length = strlen(text);
    if (length == 0 || length > LONGEST_ID || !isalnum((unsigned char)text[0]))
        return false;
    for (size_t i = 0; i < length; i++)
        if (!isalnum((unsigned char)text[i]) && !strchr("._-", text[i]))
            return false;
    return true;
}

static void set_standards(struct reader *reader, const struct section *section, void *base)
{
    for (size_t i = 0; i < section->count; i++) {
        const struct option *option = &section->options[i];
        void *field = (char *)base + option->offset;
        if (option->type == OPTION_SECTION) {
            set_standards(reader, option->section, field);
        } else if (option->standard && option->type == OPTION_TEXT) {
            memcpy(field, &option->standard, sizeof option->standard); /* no copy: ten thousand stations share it */
        } else if (option->standard) {
            struct error error;
            bool is_set = set_scalar(reader, option, option->standard, field, &error);
            assert(is_set); /* the table is ours */
            (void)is_set;
        }
    }
}

static void read_option(struct reader *reader, const struct option *option, const yaml_node_t *node, void *base)
{
    void *field = (char *)base + option->offset;
    char title[128];
    if (dimension_of(reader, option) == OF_QUANTITY)
        return; /* the quantity is wrong or missing, and that was said */
    if (is_scalar_type(option->type)) {
        read_scalar(reader, option, node, field);
        return;
    }
    switch (option->type) {
    case OPTION_WORDS: reader_words(reader, node, option->key, field); break;
    case OPTION_CHOICES: read_choices(reader, option, node, field); break;
    case OPTION_RANGE:
    case OPTION_DIFFERENCES: read_pair(reader, option, node, field); break;
    case OPTION_SECRET: read_secret(reader, option->key, node, field); break;
    case OPTION_SECTION:
        snprintf(title, sizeof title, "'%s'%s", option->key, reader->about);
        reader_section(reader, option->section, node, title, field);
        break;
    default: break; /* OPTION_OWN */
    }
}

static bool is_scalar_type(enum option_type type)
{
    return type != OPTION_WORDS && type != OPTION_CHOICES && type != OPTION_RANGE && type != OPTION_DIFFERENCES &&
           type != OPTION_SECRET && type != OPTION_SECTION && type != OPTION_OWN;
}

static void read_scalar(struct reader *reader, const struct option *option, const yaml_node_t *node, void *field)
{
    if (is_empty_node(node)) {
        reader_complain(reader, node, "'%s'%s has no value", option->key, reader->about);
        return;
    }
    if (option->type == OPTION_CHOICE || option->type == OPTION_CHARACTER || option->type == OPTION_QUANTITY_NAME ||
        option->type == OPTION_NOTE_KIND) {
        set_choice(reader, option, node, field);
        return;
    }
    struct error error;
    const char *text = reader_text(reader, node, option->key);
    if (text && !set_scalar(reader, option, text, field, &error))
        reader_complain_value(reader, node, option->key, &error);
}

static bool set_scalar(struct reader *reader, const struct option *option, const char *text, void *field,
                       struct error *error)
{
    size_t length = strlen(text);
    switch (option->type) {
    case OPTION_TEXT:
    case OPTION_PROSE:
    case OPTION_PATH: return set_text(reader, option, text, field, error);
    case OPTION_BOOLEAN: return value_boolean(text, length, field, error);
    case OPTION_OFFSET: return value_offset(text, length, field, error);
    case OPTION_CLOCK: return value_clock(text, length, field, error);
    case OPTION_CHOICE:
    case OPTION_CHARACTER: /* of a default; what users write goes through set_choice */
        for (int i = 0; option->choice(i); i++) {
            if (strcmp(option->choice(i), text) != 0)
                continue;
            if (option->type == OPTION_CHARACTER)
                *(char *)field = option->characters[i];
            else
                memcpy(field, &i, sizeof i);
            return true;
        }
        return fail(error, ERROR_CONFIG, "has the unknown word '%s'", text);
    case OPTION_CHOICES: return set_choices(option, text, field); /* of a default as well */
    default: return set_number(option, dimension_of(reader, option), text, field, error);
    }
}

static bool set_number(const struct option *option, int dimension, const char *text, void *field, struct error *error)
{
    size_t length = strlen(text);
    int64_t whole = 0;
    double value = 0;
    int integer = 0;
    bool is_off = option->may_be_none && strcmp(text, "none") == 0;
    bool is_all = option->may_be_all && strcmp(text, "all") == 0, is_read = is_off || is_all;
    if (option->type == OPTION_INTEGER) {
        integer = is_all ? INT_MAX : 0;
        is_read = is_read || value_integer(text, length, &integer, error);
        value = integer;
    } else if (option->type == OPTION_DURATION || option->type == OPTION_SIZE) {
        is_read = is_read || (option->type == OPTION_SIZE ? value_size(text, length, &whole, error)
                                                          : value_duration(text, length, &whole, error));
        value = (double)whole;
    } else if (option->type == OPTION_RATE) {
        is_read = is_read || value_rate(text, length, dimension, &value, error);
    } else {
        is_read = is_read || value_quantity(text, length, dimension, option->type == OPTION_DIFFERENCE, &value, error);
    }
    if (!is_read || (!is_off && !is_all && !is_in_bounds(option, value, text, error)))
        return false;
    if (option->type == OPTION_INTEGER)
        memcpy(field, &integer, sizeof integer);
    else if (option->type == OPTION_DURATION || option->type == OPTION_SIZE)
        memcpy(field, &whole, sizeof whole);
    else
        memcpy(field, &value, sizeof value);
    return true;
}

static bool is_in_bounds(const struct option *option, double value, const char *text, struct error *error)
{
    if (option->type == OPTION_RATE && !(value > 0))
        return fail(error, ERROR_CONFIG, "must be above 0, or 'none', found '%.60s'", text);
    bool has_bounds = option->minimum < option->maximum;
    if (!has_bounds || (value >= option->minimum && value <= option->maximum))
        return true;
    char least[64], most[64];
    option_print_bound(option, option->minimum, least, sizeof least);
    option_print_bound(option, option->maximum, most, sizeof most);
    if (isinf(option->maximum))
        return fail(error, ERROR_CONFIG, "must not be below %s, found '%.60s'", least, text);
    return fail(error, ERROR_CONFIG, "must be between %s and %s, found '%.60s'", least, most, text);
}

static bool set_text(struct reader *reader, const struct option *option, const char *text, void *field,
                     struct error *error)
{
    size_t length = strlen(text);
    while (length > 0 && strchr(" \t\n", text[length - 1]))
        length--; /* block scalars end with a line end */
    if (has_control_bytes(text, length, option->type == OPTION_PROSE))
        return fail(error, ERROR_CONFIG, "must be a single line of text");
    if (length == 0 && !option->may_be_empty)
        return fail(error, ERROR_CONFIG, "has no value");
    const char *copy = arena_strndup(reader->config->arena, text, length);
    if (option->type == OPTION_PATH)
        copy = path_absolute(reader->config->arena, reader->folder, copy);
    memcpy(field, &copy, sizeof copy);
    return true;
}

static void read_pair(struct reader *reader, const struct option *option, const yaml_node_t *node, double *pair)
{
    bool is_range = option->type == OPTION_RANGE;
    if (node->type == YAML_SCALAR_NODE && strcmp((const char *)node->data.scalar.value, "none") == 0) {
        pair[0] = is_range ? -INFINITY : 0;
        pair[1] = is_range ? INFINITY : 0;
        return;
    }
    if (node->type != YAML_SEQUENCE_NODE || node->data.sequence.items.top - node->data.sequence.items.start != 2) {
        reader_complain(reader, node, "'%s'%s is a list of two, such as %s, or 'none'", option->key, reader->about,
                        is_range ? "[lowest, highest]" : "[suspect, fail]");
        return;
    }
    double ends[2];
    for (int i = 0; i < 2; i++) {
        const yaml_node_t *end = reader_node(reader, node->data.sequence.items.start[i]);
        if (!end || !set_end(reader, option, end, i == 1, &ends[i]))
            return;
    }
    if (is_range ? ends[0] >= ends[1] : ends[1] > 0 && ends[0] > ends[1]) {
        reader_complain(reader, node, "'%s'%s must have the smaller value first", option->key, reader->about);
        return;
    }
    pair[0] = ends[0];
    pair[1] = ends[1];
}

static bool set_end(struct reader *reader, const struct option *option, const yaml_node_t *node, bool is_upper,
                    double *ret)
{
    bool is_range = option->type == OPTION_RANGE;
    const char *text = reader_text(reader, node, option->key);
    if (!text)
        return false;
    if (strcmp(text, "none") == 0) {
        *ret = !is_range ? 0 : is_upper ? INFINITY : -INFINITY;
        return true;
    }
    struct error error;
    bool is_read = value_quantity(text, strlen(text), dimension_of(reader, option), !is_range, ret, &error);
    if (is_read && !is_range && !(*ret > 0))
        is_read = fail(&error, ERROR_CONFIG, "must be above 0, or 'none', found '%.60s'", text);
    if (!is_read)
        reader_complain_value(reader, node, option->key, &error);
    return is_read;
}

static void set_choice(struct reader *reader, const struct option *option, const yaml_node_t *node, void *field)
{
    const char *(*choice)(int) = option->type == OPTION_QUANTITY_NAME ? quantity_choice
                                 : option->type == OPTION_NOTE_KIND   ? note_kind_choice
                                                                      : option->choice;
    int value = reader_choice(reader, node, option->key, choice);
    if (value < 0)
        return;
    if (option->type == OPTION_CHARACTER)
        *(char *)field = option->characters[value];
    else
        memcpy(field, &value, sizeof value);
}

static void read_choices(struct reader *reader, const struct option *option, const yaml_node_t *node, uint32_t *ret)
{
    if (is_empty_node(node)) {
        reader_complain(reader, node, "'%s'%s has no value", option->key, reader->about);
        return;
    }
    bool is_single = node->type == YAML_SCALAR_NODE;
    char title[128];
    snprintf(title, sizeof title, "'%s'", option->key);
    if (!is_single && !reader_is_list(reader, node, title))
        return;
    uint32_t mask = 0;
    const yaml_node_item_t *items = is_single ? NULL : node->data.sequence.items.start;
    size_t count = is_single ? 1 : (size_t)(node->data.sequence.items.top - items);
    for (size_t i = 0; i < count; i++) {
        const yaml_node_t *item = is_single ? node : reader_node(reader, items[i]);
        int value = item ? reader_choice(reader, item, option->key, option->choice) : -1;
        if (value < 0)
            return;
        mask |= 1u << value;
    }
    *ret = mask;
}

/* "csv, netcdf": defaults only. */
static bool set_choices(const struct option *option, const char *list, uint32_t *ret)
{
    *ret = 0;
    while (*list) {
        size_t length = strcspn(list, ",");
        int value = 0;
        while (option->choice(value) &&
               (strlen(option->choice(value)) != length || memcmp(option->choice(value), list, length) != 0))
            value++;
        if (!option->choice(value))
            return false;
        *ret |= 1u << value;
        list += length;
        list += strspn(list, ", ");
    }
    return true;
}

static void read_secret(struct reader *reader, const char *key, const yaml_node_t *node, struct secret *secret)
{
    if (node->type != YAML_MAPPING_NODE) {
        reader_complain(reader, node,
                        "'%s' must not stand in the settings itself: keep it elsewhere and write {file: PATH} or "
                        "{credential: NAME}",
                        key);
        return;
    }
    struct secret_words words = {NULL, NULL};
    size_t before = reader->problems->count;
    char title[128];
    snprintf(title, sizeof title, "'%s'", key);
    reader_section(reader, &section_secret, node, title, &words);
    if (reader->problems->count > before)
        return;
    if (!words.file == !words.credential) {
        reader_complain(reader, node, "'%s' is kept in one place, expected {file: PATH} or {credential: NAME}", key);
        return;
    }
    if (words.credential && strspn(words.credential, "abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789"
                                                     "._-") != strlen(words.credential)) {
        reader_complain(reader, node, "'%s' names no credential: expected letters, digits, '.', '_', '-'", key);
        return;
    }
    *secret = (struct secret){.kind = words.file ? SECRET_FILE : SECRET_CREDENTIAL,
                              .name = words.file ? words.file : words.credential,
                              .where = reader_place(reader, node)};
}

static void complain_unknown(struct reader *reader, const yaml_node_t *node, const struct section *section,
                             const char *title, const char *key)
{
    const char *nearest = option_nearest(key, key_of_section, section);
    if (nearest) {
        reader_complain(reader, node, "unknown key '%.60s' in %s, expected '%s'", key, title, nearest);
        return;
    }
    char list[1024];
    size_t length = 0;
    for (size_t i = 0; i < section->count; i++) {
        length +=
            (size_t)snprintf(list + length, sizeof list - length, "%s%s", i > 0 ? ", " : "", section->options[i].key);
        assert(length < sizeof list);
    }
    reader_complain(reader, node, "unknown key '%.60s' in %s, expected one of: %s", key, title, list);
}

/* C0 but for line ends where they are allowed, DEL, C1 (two bytes in UTF-8), and a NUL that hides what follows. */
static bool has_control_bytes(const char *text, size_t length, bool may_have_lines)
{
    for (size_t i = 0; i < length; i++) {
        unsigned char c = (unsigned char)text[i];
        if ((c < 0x20 && !(may_have_lines && c == '\n')) || c == 0x7F)
            return true;
        if (c == 0xC2 && i + 1 < length && (unsigned char)text[i + 1] < 0xA0)
            return true;
    }
    return false;
}

/* 'key:' with nothing behind it. */
static bool is_empty_node(const yaml_node_t *node)
{
    if (node->type != YAML_SCALAR_NODE || node->data.scalar.style != YAML_PLAIN_SCALAR_STYLE)
        return false;
    const char *text = (const char *)node->data.scalar.value;
    return *text == '\0' || strcmp(text, "~") == 0 || strcmp(text, "null") == 0;
}

static int dimension_of(const struct reader *reader, const struct option *option)
{
    if (option->dimension != OF_QUANTITY || reader->quantity == QUANTITY_COUNT)
        return option->dimension;
    return (int)quantity_dimension(reader->quantity);
}

static const char *key_of_section(const void *context, size_t index)
{
    const struct section *section = context;
    return index < section->count ? section->options[index].key : NULL;
}

static const char *word_of_choice(const void *context, size_t index)
{
    const struct choice_words *words = context;
    return words->choice((int)index);
}
