/* SPDX-License-Identifier: MIT */
/* Where the table of an unknown file is, and what stands in its columns: the evidence for a draft. */
#ifndef RILLWARD_INTAKE_DRAFT_SHAPE_H
#define RILLWARD_INTAKE_DRAFT_SHAPE_H

#include "intake/draft_time.h"
#include "intake/source.h"
#include "science/units.h"

enum {
    SHAPE_MOST_COLUMNS = 64,
    SHAPE_MOST_SAMPLES = 20000, /* rows of a file that are looked at closely */
    SHAPE_MOST_WORDS = 60       /* different texts of a column that are kept */
};

/* A file split the way that makes most sense of it. */
struct shape {
    struct table table;
    char delimiter;      /* 0 in workbooks */
    const char *comment; /* "" none */
    const char *sheet;   /* NULL in text files */
    bool has_rivals;     /* other sheets hold tables too */
    struct head head;
    size_t header_row; /* index in head */
    uint32_t cell_count;
    uint32_t time_cells[2]; /* date, or both; then the time of day */
    size_t time_cell_count;
    size_t score;
};

/* INPUT error where no header row stands above rows that begin with times. */
bool shape_find(struct arena *arena, struct time_formats *formats, struct source *source, struct shape *ret,
                struct error *error);

struct seen_word {
    const char *text;
    size_t count;
};

/* One column of all the files. */
struct evidence {
    const char *header;      /* the header cell */
    struct cell name;        /* of it, what is not the unit */
    const struct unit *unit; /* that it names; NULL */
    struct cell unit_text;
    uint64_t clues; /* of the name */
    size_t files;   /* that have it */
    size_t filled, numbers, with_point, with_comma, civil, percent;
    double *values;                           /* of the numbers, as many as samples are kept */
    struct seen_word words[SHAPE_MOST_WORDS]; /* of the rest */
    size_t word_count;
    bool has_more_words;
};

struct evidence_set {
    struct evidence *columns;
    size_t count;
    struct time_sample *times;
    size_t time_count;
    size_t rows;        /* with a time */
    const char *footer; /* first cell of the first row behind the last one with a time; NULL */
};
struct evidence_set *evidence_make(struct arena *arena, size_t files);

/* Add the rows of a file. False with an INPUT error where a limit is passed. */
bool evidence_add(struct arena *arena, struct evidence_set *set, struct shape *shape, size_t file, struct error *error);

/* The value that `share` (0 to 1) of the column's numbers lie below. NaN without numbers. */
double evidence_quantile(const struct evidence *column, double share);

#endif
