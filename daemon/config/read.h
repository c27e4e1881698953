/* SPDX-License-Identifier: MIT */
/* From nodes of the YAML tree to fields, by the option table. Everything here complains into the reader's problems, at
 * the place of the node, and goes on. */
#ifndef RILLWARD_CONFIG_READ_H
#define RILLWARD_CONFIG_READ_H

#include "config/options.h"

#include <yaml.h>

/* One file being read. */
struct reader {
    struct config *config;
    struct config_problems *problems;
    yaml_document_t *document;
    const char *file;       /* as complaints name it; in the config's arena */
    const char *folder;     /* absolute: relative paths are taken from here */
    size_t *steps;          /* nodes that may still be looked at: aliases make a small file large */
    enum quantity quantity; /* what OF_QUANTITY means; QUANTITY_COUNT: unknown, such values are passed over */
    const char *about;      /* behind the key in complaints: " of a rule on oxygen"; "" */
};

/* A child node; NULL once the steps are used up (said once): stop looking. */
yaml_node_t *reader_node(struct reader *reader, int index);

struct place reader_place(const struct reader *reader, const yaml_node_t *node);

void reader_complain(struct reader *reader, const yaml_node_t *node, const char *format, ...)
    __attribute__((format(printf, 3, 4)));

/* Is the node a map (or list)? Complains with `what` as its subject if it is not. */
bool reader_is_map(struct reader *reader, const yaml_node_t *node, const char *what);
bool reader_is_list(struct reader *reader, const yaml_node_t *node, const char *what);

/* Text of a scalar, ended by a NUL; NULL with a complaint about `what` where it is no scalar or has control bytes. */
const char *reader_text(struct reader *reader, const yaml_node_t *node, const char *what);

/* Node of a key or its value in a map, the first where there are several; NULL without one. */
yaml_node_t *reader_find(struct reader *reader, const yaml_node_t *map, const char *key);
yaml_node_t *reader_find_key(struct reader *reader, const yaml_node_t *map, const char *key);

/* Texts of a list, or of a single scalar. */
void reader_words(struct reader *reader, const yaml_node_t *node, const char *key, struct word_list *ret);

/* Value of the word in `choice`; -1 with a complaint that names the nearest. */
int reader_choice(struct reader *reader, const yaml_node_t *node, const char *key, const char *(*choice)(int));

#define LONGEST_ID 64
#define TITLE_SIZE (LONGEST_ID + 40)

/* 1 to LONGEST_ID letters, digits, '.', '_', '-', the first a letter or digit. */
bool reader_is_id(const char *text);

/* One id of a map and its own map. */
struct entry {
    const char *id;
    struct place where;
    const yaml_node_t *map; /* may be something else yet */
    char title[TITLE_SIZE]; /* "station 'hill'" */
    char about[TITLE_SIZE]; /* " of station 'hill'" */
};

/* Room of the growing arrays of a config. */
struct capacities {
    size_t stations, barometers, layouts, recipients, rules, parts;
};

/* Hand each entry of a map of ids to `take`, with reader->about set. Repeated ids are left to check.c, which sees all
 * files. */
void reader_entries(struct reader *reader, const yaml_node_t *map, const char *noun,
                    void (*take)(struct reader *, const struct entry *, struct capacities *), struct capacities *room);

/* "'limit' of a rule on oxygen " + the error's text. */
void reader_complain_value(struct reader *reader, const yaml_node_t *node, const char *key, const struct error *error);

/* Set the defaults of the section in the struct at `base`, then read the map into it; NULL: only defaults. `title` is
 * the subject of complaints: "station 'hill'". OPTION_OWN rows are left to the caller, but for unknown, missing and
 * repeated keys. */
void reader_section(struct reader *reader, const struct section *section, const yaml_node_t *map, const char *title,
                    void *base);

#endif
