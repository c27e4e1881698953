/* SPDX-License-Identifier: MIT */
#include "config/load.h"

#include "base/file.h"
#include "config/check.h"
#include "config/digest.h"
#include "config/parts.h"
#include "config/path.h"
#include "config/problems.h"
#include "config/sections.h"
#include "config/vocabulary.h"

#include <glob.h>
#include <limits.h>
#include <malloc.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

enum {
    LARGEST_FILE = 16 << 20,  /* bytes */
    LARGEST_DEPTH = 32,       /* of nested maps and lists; libyaml needs time by the square of it */
    LARGEST_EVENTS = 2000000, /* of one file: about 250 MB while it is read */
    LARGEST_ANCHORS = 1000,   /* libyaml compares each with all before it */
    LARGEST_STEPS = 4000000,  /* nodes looked at, in all files, aliases counted again */
    LARGEST_FILES = 20000
};

struct loader {
    struct config *config;
    struct config_problems *problems;
    struct capacities room;
    struct top_places places;
    size_t steps;
    bool may_include;
    bool is_incomplete; /* a file could not be read: what others name in it may be there all the same */
    const char **includes;
    size_t include_count, include_capacity;
};

static struct config *load(const char *name, const char *bytes, size_t length, bool may_include,
                           struct config_problems *problems);
static void read_includes(struct loader *loader);
static bool parse(struct loader *loader, const char *name, const char *bytes, size_t length,
                  yaml_document_t *ret_document);
static bool survey(struct loader *loader, const char *name, const char *bytes, size_t length);
static const char *survey_event(const yaml_event_t *event, size_t *depth, size_t *anchors, size_t *documents);
static void complain_yaml(struct loader *loader, const char *name, const yaml_parser_t *parser, const char *bytes);
static const char *yaml_cure(const yaml_parser_t *parser);
static struct place place_of_mark(const char *name, yaml_mark_t mark);
static void read_file(struct loader *loader, const char *name, const char *bytes, size_t length, bool is_main);
static void read_main(struct loader *loader, struct reader *reader, const yaml_node_t *root);
static void read_maps(struct reader *reader, const yaml_node_t *root, struct capacities *room);
static void collect_includes(struct loader *loader, struct reader *reader, const yaml_node_t *node);
static void collect_matches(struct loader *loader, struct reader *reader, const yaml_node_t *node, const char *pattern);
static const char *escape_pattern(struct arena *arena, const char *text);
static bool has_wildcard(const char *text);
static const char *absolute_folder(struct arena *arena, const char *name);
static struct place place_of_key(struct reader *reader, const yaml_node_t *map, const char *key);
static void finish(struct loader *loader);
static void find_neighbourhoods(struct config *config);
static void *moved(struct arena *arena, void *items, size_t count, size_t size);
static int compare_stations(const void *a, const void *b, void *main_file);
static int compare_barometers(const void *a, const void *b, void *main_file);
static int compare_paths(const void *a, const void *b);

struct config *config_load(const char *path, struct config_problems *problems)
{
    CLEANUP(cleanup_free) char *bytes = NULL;
    size_t length;
    struct error error;
    if (!file_read(path, LARGEST_FILE, &bytes, &length, &error)) {
        problem_add(problems, (struct place){path, 1, 1}, "%s", error.text);
        return NULL;
    }
    return load(path, bytes, length, true, problems);
}

struct config *config_load_bytes(const char *name, const char *bytes, size_t length, struct config_problems *problems)
{
    return load(name, bytes, length, false, problems);
}

static struct config *load(const char *name, const char *bytes, size_t length, bool may_include,
                           struct config_problems *problems)
{
    struct config *config = x_alloc(sizeof *config);
    config->arena = arena_new();
    struct loader loader = {.config = config, .problems = problems, .steps = LARGEST_STEPS, .may_include = may_include};
    loader.places.main_file = arena_strdup(config->arena, name);
    for (enum quantity q = 0; q < QUANTITY_COUNT; q++)
        config->quality[q] = default_limits(q);
    read_file(&loader, loader.places.main_file, bytes, length, true);
    read_includes(&loader);
    finish(&loader);
    if (!loader.is_incomplete)
        config_check(config, &loader.places, problems);
    problems_sort(problems, name);
    if (problems->count > 0) {
        config_free(config);
        config = NULL;
    } else {
        parts_divide(config);
        find_neighbourhoods(config);
        config->digest = config_digest(config);
    }
    malloc_trim(0); /* the YAML trees were many times larger than what stays */
    return config;
}

static void read_includes(struct loader *loader)
{
    if (loader->include_count > 0)
        qsort(loader->includes, loader->include_count, sizeof *loader->includes, compare_paths);
    for (size_t i = 0; i < loader->include_count; i++) {
        const char *path = loader->includes[i];
        CLEANUP(cleanup_free) char *bytes = NULL;
        size_t length;
        struct error error;
        if (i > 0 && strcmp(path, loader->includes[i - 1]) == 0)
            continue; /* two patterns matched it */
        if (file_read(path, LARGEST_FILE, &bytes, &length, &error)) {
            read_file(loader, path, bytes, length, false);
        } else {
            problem_add(loader->problems, (struct place){path, 1, 1}, "%s", error.text);
            loader->is_incomplete = true;
        }
    }
    free(loader->includes);
}

static void read_file(struct loader *loader, const char *name, const char *bytes, size_t length, bool is_main)
{
    yaml_document_t document;
    if (!parse(loader, name, bytes, length, &document)) {
        loader->is_incomplete = true;
        return;
    }
    struct reader reader = {.config = loader->config,
                            .problems = loader->problems,
                            .document = &document,
                            .file = name,
                            .folder = absolute_folder(loader->config->arena, name),
                            .steps = &loader->steps,
                            .quantity = QUANTITY_COUNT,
                            .about = ""};
    const yaml_node_t *root = yaml_document_get_root_node(&document);
    if (!root && is_main) {
        problem_add(loader->problems, (struct place){name, 1, 1}, "the file is empty, expected 'network:' and more");
    } else if (root && is_main) {
        read_main(loader, &reader, root);
    } else if (root) {
        reader_section(&reader, &section_included, root, section_included.title, loader->config);
        read_maps(&reader, root, &loader->room);
    }
    yaml_document_delete(&document);
}

static bool parse(struct loader *loader, const char *name, const char *bytes, size_t length,
                  yaml_document_t *ret_document)
{
    if (length > LARGEST_FILE) {
        problem_add(loader->problems, (struct place){name, 1, 1}, "the file has %zu bytes, more than the limit of %d",
                    length, LARGEST_FILE);
        return false;
    }
    if (!survey(loader, name, bytes, length))
        return false;
    yaml_parser_t parser;
    if (!yaml_parser_initialize(&parser))
        abort(); /* out of memory */
    yaml_parser_set_input_string(&parser, (const unsigned char *)bytes, length);
    bool is_parsed = yaml_parser_load(&parser, ret_document) == 1;
    if (!is_parsed)
        complain_yaml(loader, name, &parser, bytes);
    yaml_parser_delete(&parser);
    return is_parsed;
}

/* A first pass that builds nothing, so that a hostile or damaged file cannot use up time and memory in the second. */
static bool survey(struct loader *loader, const char *name, const char *bytes, size_t length)
{
    yaml_parser_t parser;
    if (!yaml_parser_initialize(&parser))
        abort();
    yaml_parser_set_input_string(&parser, (const unsigned char *)bytes, length);
    size_t depth = 0, anchors = 0, documents = 0, events = 0;
    bool is_done = false, is_fine = true;
    while (is_fine && !is_done) {
        yaml_event_t event;
        if (!yaml_parser_parse(&parser, &event)) {
            complain_yaml(loader, name, &parser, bytes);
            is_fine = false;
            break;
        }
        const char *wrong = survey_event(&event, &depth, &anchors, &documents);
        if (!wrong && ++events > LARGEST_EVENTS)
            wrong = "the file has too much in it from here on, split it by 'include'";
        if (wrong)
            problem_add(loader->problems, place_of_mark(name, event.start_mark), "%s", wrong);
        is_fine = wrong == NULL;
        is_done = event.type == YAML_STREAM_END_EVENT;
        yaml_event_delete(&event);
    }
    yaml_parser_delete(&parser);
    return is_fine;
}

static const char *survey_event(const yaml_event_t *event, size_t *depth, size_t *anchors, size_t *documents)
{
    const yaml_char_t *anchor = NULL;
    switch (event->type) {
    case YAML_DOCUMENT_START_EVENT:
        if (++*documents > 1)
            return "a second document begins here, expected one";
        break;
    case YAML_MAPPING_START_EVENT:
        anchor = event->data.mapping_start.anchor;
        ++*depth;
        break;
    case YAML_SEQUENCE_START_EVENT:
        anchor = event->data.sequence_start.anchor;
        ++*depth;
        break;
    case YAML_MAPPING_END_EVENT:
    case YAML_SEQUENCE_END_EVENT: --*depth; break;
    case YAML_SCALAR_EVENT: anchor = event->data.scalar.anchor; break;
    default: break;
    }
    if (*depth > LARGEST_DEPTH)
        return "maps and lists are nested too deeply";
    if (anchor && ++*anchors > LARGEST_ANCHORS)
        return "there are too many anchors";
    return NULL;
}

static void complain_yaml(struct loader *loader, const char *name, const yaml_parser_t *parser, const char *bytes)
{
    if (parser->error == YAML_MEMORY_ERROR)
        abort();
    yaml_mark_t mark = parser->problem_mark;
    if (parser->error == YAML_READER_ERROR) { /* the only one without a mark */
        mark = (yaml_mark_t){0};
        for (size_t i = 0; i < parser->problem_offset; i++) {
            mark.line += bytes[i] == '\n';
            mark.column = bytes[i] == '\n' ? 0 : mark.column + 1;
        }
    }
    problem_add(loader->problems, place_of_mark(name, mark), "this is no YAML: %s%s%s%s",
                parser->problem ? parser->problem : "unknown fault", parser->context ? " " : "",
                parser->context ? parser->context : "", yaml_cure(parser));
}

/* What people do most often. */
static const char *yaml_cure(const yaml_parser_t *parser)
{
    static const struct {
        const char *sign, *cure;
    } cures[] = {
        {"while scanning an alias", "; a text that begins with '*' needs quotes"},
        {"while scanning an anchor", "; a text that begins with '&' needs quotes"},
        {"mapping values are not allowed",
         "; a text with ': ' in it needs quotes, and keys of a map stand in one column"},
        {"cannot start any token", "; indent by blanks, not tabs, and quote texts that begin with '%', '@' or '`'"},
        {"did not find expected ',' or", "; is a comma or bracket missing, or does a text with ': ' need quotes?"},
        {"did not find expected key", "; keys of a map stand in one column"},
    };
    for (size_t i = 0; i < COUNT_OF(cures); i++)
        if ((parser->context && strstr(parser->context, cures[i].sign)) ||
            (parser->problem && strstr(parser->problem, cures[i].sign)))
            return cures[i].cure;
    return "";
}

static struct place place_of_mark(const char *name, yaml_mark_t mark)
{
    return (struct place){name, (int)mark.line + 1, (int)mark.column + 1};
}

static void read_main(struct loader *loader, struct reader *reader, const yaml_node_t *root)
{
    struct config *config = loader->config;
    reader_section(reader, &section_top, root, section_top.title, config);
    if (root->type != YAML_MAPPING_NODE)
        return;
    read_maps(reader, root, &loader->room);
    const yaml_node_t *quality = reader_find(reader, root, "quality"), *mail = reader_find(reader, root, "mail");
    const yaml_node_t *network = reader_find(reader, root, "network"), *include = reader_find(reader, root, "include");
    const yaml_node_t *id = network && network->type == YAML_MAPPING_NODE ? reader_find(reader, network, "id") : NULL;
    if (quality)
        read_network_quality(reader, quality);
    if (mail)
        read_mail(reader, mail);
    const yaml_node_t *heartbeat = reader_find(reader, root, "heartbeat");
    if (heartbeat)
        read_heartbeat(reader, heartbeat);
    const yaml_node_t *alarms = reader_find(reader, root, "alarms");
    const yaml_node_t *digest =
        alarms && alarms->type == YAML_MAPPING_NODE ? reader_find(reader, alarms, "digest") : NULL;
    if (digest)
        read_digest(reader, digest);
    if (include)
        collect_includes(loader, reader, include);
    if (id && config->network_id && !reader_is_id(config->network_id))
        reader_complain(reader, id,
                        "'id' of the network has 1 to %d letters, digits, '.', '_', '-', the first a "
                        "letter or digit, found '%.80s'",
                        LONGEST_ID, config->network_id);
    if (config->good_air_gap > config->largest_air_gap)
        reader_complain(reader, reader_find(reader, root, "pairing"),
                        "'good_gap' must not be longer than 'largest_gap' (defaults 1 h and 3 h)");
    loader->places.inbox = place_of_key(reader, root, "inbox");
    loader->places.archive = place_of_key(reader, root, "archive");
    loader->places.state = place_of_key(reader, root, "state");
    loader->places.metrics = place_of_key(reader, root, "metrics");
    loader->places.part = place_of_key(reader, root, "part");
    if (network && network->type == YAML_MAPPING_NODE)
        loader->places.url = place_of_key(reader, network, "url");
}

static struct place place_of_key(struct reader *reader, const yaml_node_t *map, const char *key)
{
    const yaml_node_t *node = reader_find_key(reader, map, key);
    return node ? reader_place(reader, node) : reader_place(reader, map);
}

/* The keys that every file may have. */
static void read_maps(struct reader *reader, const yaml_node_t *root, struct capacities *room)
{
    static const struct {
        const char *key;
        void (*read)(struct reader *, const yaml_node_t *, struct capacities *);
    } maps[] = {{"stations", read_stations},     {"barometers", read_barometers}, {"layouts", read_layouts},
                {"recipients", read_recipients}, {"rules", read_rules},           {"parts", read_parts}};
    if (root->type != YAML_MAPPING_NODE)
        return;
    for (size_t i = 0; i < COUNT_OF(maps); i++) {
        const yaml_node_t *map = reader_find(reader, root, maps[i].key);
        if (map)
            maps[i].read(reader, map, room);
    }
}

static void collect_includes(struct loader *loader, struct reader *reader, const yaml_node_t *node)
{
    struct word_list patterns = {NULL, 0};
    if (!loader->may_include) {
        reader_complain(reader, node, "'include' needs settings that come from a file");
        return;
    }
    reader_words(reader, node, "include", &patterns);
    struct word_list *includes = &loader->config->includes;
    includes->words = arena_array(loader->config->arena, patterns.count, sizeof *includes->words);
    for (size_t i = 0; i < patterns.count; i++) {
        includes->words[includes->count++] = path_absolute(loader->config->arena, reader->folder, patterns.words[i]);
        collect_matches(loader, reader, node, patterns.words[i]);
    }
}

static void collect_matches(struct loader *loader, struct reader *reader, const yaml_node_t *node, const char *pattern)
{
    struct arena *arena = loader->config->arena;
    const char *folder = pattern[0] == '/' ? "" : escape_pattern(arena, path_folder(arena, reader->file));
    const char *path = arena_printf(arena, "%s%s", folder, pattern);
    glob_t matches = {0};
    int result = glob(path, GLOB_NOSORT, NULL, &matches);
    for (size_t i = 0; result == 0 && i < matches.gl_pathc && loader->include_count < LARGEST_FILES; i++) {
        loader->includes =
            x_grow(loader->includes, loader->include_count, &loader->include_capacity, sizeof *loader->includes);
        loader->includes[loader->include_count++] = arena_strdup(arena, matches.gl_pathv[i]);
    }
    globfree(&matches);
    if (loader->include_count == LARGEST_FILES)
        reader_complain(reader, node, "'include' names more than %d files", LARGEST_FILES);
    /* An empty folder is fine, a name that is nowhere is not. */
    const char *last_folder = path_folder(arena, pattern);
    const char *wanted = has_wildcard(pattern) ? last_folder : pattern;
    if (result == 0 || has_wildcard(last_folder) || *wanted == '\0')
        return;
    if (!file_exists(path_absolute(arena, reader->folder, wanted))) {
        reader_complain(reader, node,
                        "'include' found nothing at '%.200s': expected a file, or a pattern in a folder "
                        "that exists",
                        pattern);
        loader->is_incomplete = true;
    }
}

static const char *escape_pattern(struct arena *arena, const char *text)
{
    char *ret = arena_alloc(arena, 2 * strlen(text) + 1), *to = ret;
    for (; *text; text++) {
        if (strchr("*?[\\", *text))
            *to++ = '\\';
        *to++ = *text;
    }
    return ret;
}

static bool has_wildcard(const char *text)
{
    return strpbrk(text, "*?[") != NULL;
}

static const char *absolute_folder(struct arena *arena, const char *name)
{
    char here[PATH_MAX];
    const char *folder = path_folder(arena, name);
    CLEANUP(cleanup_free) char *real = realpath(*folder ? folder : ".", NULL);
    if (real)
        return arena_strdup(arena, real);
    return path_absolute(arena, getcwd(here, sizeof here) ? here : "/", folder);
}

static void finish(struct loader *loader)
{
    struct config *config = loader->config;
    struct arena *arena = config->arena;
    void *main_file = x_strdup(loader->places.main_file);
    if (config->station_count > 0)
        qsort_r(config->stations, config->station_count, sizeof *config->stations, compare_stations, main_file);
    if (config->barometer_count > 0)
        qsort_r(config->barometers, config->barometer_count, sizeof *config->barometers, compare_barometers, main_file);
    free(main_file);
    config->stations = moved(arena, config->stations, config->station_count, sizeof *config->stations);
    config->barometers = moved(arena, config->barometers, config->barometer_count, sizeof *config->barometers);
    config->layouts = moved(arena, config->layouts, config->layout_count, sizeof *config->layouts);
    config->rules = moved(arena, config->rules, config->rule_count, sizeof *config->rules);
    config->recipients = moved(arena, config->recipients, config->recipient_count, sizeof *config->recipients);
    config->parts = moved(arena, config->parts, config->part_count, sizeof *config->parts);
    if (!config->network_name)
        config->network_name = config->network_id;
    for (enum quantity q = 0; q < QUANTITY_COUNT; q++)
        limits_normalise(&config->quality[q]);
}

/* Once, so that a drop of one station need not ask all others. An unknown or own id is left to config_check. */
static void find_neighbourhoods(struct config *config)
{
    struct neighbourhood *list = NULL;
    size_t capacity = 0;
    for (size_t i = 0; i < config->station_count; i++) {
        size_t first = config->neighbourhood_count;
        for (enum quantity q = 0; q < QUANTITY_COUNT; q++) {
            struct quality_limits limits = config_quality(config, &config->stations[i], q);
            size_t other =
                limits.neighbour ? config_find_station(config, limits.neighbour->station) : config->station_count;
            if (other == config->station_count || other == i)
                continue;
            size_t at = first;
            while (at < config->neighbourhood_count && list[at].neighbour != other)
                at++;
            if (at == config->neighbourhood_count) {
                list = x_grow(list, at, &capacity, sizeof *list);
                list[config->neighbourhood_count++] = (struct neighbourhood){.station = i, .neighbour = other};
            }
            list[at].reach = limits.neighbour->reach > list[at].reach ? limits.neighbour->reach : list[at].reach;
        }
    }
    config->neighbourhoods = moved(config->arena, list, config->neighbourhood_count, sizeof *list);
}

/* From the heap into the arena, at its final size. */
static void *moved(struct arena *arena, void *items, size_t count, size_t size)
{
    if (count == 0) {
        free(items);
        return NULL;
    }
    void *ret = memcpy(arena_array(arena, count, size), items, count * size);
    free(items);
    return ret;
}

static int compare_stations(const void *a, const void *b, void *main_file)
{
    const struct station *one = a, *other = b;
    int order = strcmp(one->id, other->id);
    return order != 0 ? order : place_compare(one->where, other->where, main_file);
}

static int compare_barometers(const void *a, const void *b, void *main_file)
{
    const struct barometer *one = a, *other = b;
    int order = strcmp(one->id, other->id);
    return order != 0 ? order : place_compare(one->where, other->where, main_file);
}

static int compare_paths(const void *a, const void *b)
{
    const char *const *one = a, *const *other = b;
    return strcmp(*one, *other);
}
