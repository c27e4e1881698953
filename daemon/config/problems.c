/* SPDX-License-Identifier: MIT */
#include "config/problems.h"

#include "base/text.h"

#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { LARGEST_COUNT = 1000 };

static const char *own_file_name(struct config_problems *problems, const char *file);
static int compare(const void *a, const void *b, void *main_file);
static int compare_numbers(int a, int b);

void config_problems_init(struct config_problems *problems)
{
    *problems = (struct config_problems){.arena = arena_new()};
}

void config_problems_done(struct config_problems *problems)
{
    arena_free(problems->arena);
    free(problems->list);
    *problems = (struct config_problems){0};
}

char *config_problem_print(const struct config_problem *problem, struct arena *arena)
{
    return arena_printf(arena, "%s:%d:%d: %s", problem->where.file, problem->where.line, problem->where.column,
                        problem->text);
}

void problem_add(struct config_problems *problems, struct place where, const char *format, ...)
{
    if (problems->count >= LARGEST_COUNT)
        return;
    char text[1024], visible[2 * sizeof text];
    va_list arguments;
    va_start(arguments, format);
    vsnprintf(text, sizeof text, format, arguments);
    va_end(arguments);
    text_make_visible(problems->count + 1 < LARGEST_COUNT ? text : "more mistakes follow, mend these first", visible,
                      sizeof visible);
    problems->list = x_grow(problems->list, problems->count, &problems->capacity, sizeof *problems->list);
    where.file = own_file_name(problems, where.file);
    problems->list[problems->count++] =
        (struct config_problem){.where = where, .text = arena_strdup(problems->arena, visible)};
}

void problems_sort(struct config_problems *problems, const char *main_file)
{
    char *copy = x_strdup(main_file);
    size_t count = problems->count < LARGEST_COUNT ? problems->count : LARGEST_COUNT - 1; /* 'more follow' stays last */
    if (count > 0)
        qsort_r(problems->list, count, sizeof *problems->list, compare, copy);
    free(copy);
}

int place_compare(struct place a, struct place b, const char *main_file)
{
    bool a_is_main = strcmp(a.file, main_file) == 0, b_is_main = strcmp(b.file, main_file) == 0;
    if (a_is_main != b_is_main)
        return a_is_main ? -1 : 1;
    int order = strcmp(a.file, b.file);
    if (order == 0)
        order = compare_numbers(a.line, b.line);
    return order != 0 ? order : compare_numbers(a.column, b.column);
}

/* Complaints outlive the config that owns the original name. */
static const char *own_file_name(struct config_problems *problems, const char *file)
{
    if (problems->count > 0 && strcmp(problems->list[problems->count - 1].where.file, file) == 0)
        return problems->list[problems->count - 1].where.file;
    return arena_strdup(problems->arena, file);
}

static int compare(const void *a, const void *b, void *main_file)
{
    const struct config_problem *one = a, *other = b;
    int order = place_compare(one->where, other->where, main_file);
    return order != 0 ? order : strcmp(one->text, other->text);
}

static int compare_numbers(int a, int b)
{
    return (a > b) - (a < b);
}
