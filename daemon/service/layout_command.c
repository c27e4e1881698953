/* SPDX-License-Identifier: MIT */
#include "service/layout_command.h"

#include "base/file.h"
#include "base/timestamp.h"
#include "config/load.h"
#include "intake/draft.h"
#include "intake/intake.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

/* A place of each kind that claims every file, so that the draft can be tried before anything is configured. */
#define TRIAL                                                                                                          \
    "network: {id: trial}\ninbox: /trial/inbox\narchive: /trial/archive\nstate: /trial/state\n"                        \
    "stations:\n  trial-station: {latitude: 0, longitude: 0, elevation: 0 m, standard_time: \"Z\", salinity: fresh, "  \
    "drops: [\"**\"]}\n"                                                                                               \
    "barometers:\n  trial-barometer: {latitude: 0, longitude: 0, elevation: 0 m, standard_time: \"Z\", "               \
    "drops: [\"**\"]}\n"
enum { LARGEST_ANSWER = 1 << 20, MOST_SHOWN_COMPLAINTS = 3 };

static bool read_files(char *const *paths, size_t count, struct draft_file *files, struct error *error);
static void try_draft(struct arena *arena, const struct draft *draft, const struct draft_file *files, size_t count,
                      int64_t now, struct text *ret);
static void show_file(struct arena *arena, const struct config *config, const struct draft_file *file, int64_t now,
                      struct text *ret);
static void show_readings(const struct batch *batch, struct text *ret);

bool layout_command_run(char *const *paths, size_t count, int64_t now, struct text *ret, bool *ret_has_questions,
                        struct error *error)
{
    struct draft_file *files = x_array(count, sizeof *files);
    struct draft draft;
    CLEANUP(cleanup_arena) struct arena *arena = arena_new();
    bool is_drafted = read_files(paths, count, files, error) && draft_layout(arena, files, count, &draft, error);
    if (is_drafted) {
        text_puts(ret, draft.yaml);
        *ret_has_questions = draft.question_count > 0;
        try_draft(arena, &draft, files, count, now, ret);
    }
    for (size_t i = 0; i < count; i++)
        free((char *)files[i].bytes);
    free(files);
    return is_drafted;
}

static bool read_files(char *const *paths, size_t count, struct draft_file *files, struct error *error)
{
    for (size_t i = 0; i < count; i++) {
        char *bytes;
        files[i].path = paths[i];
        if (!file_read(paths[i], LAYOUT_LARGEST_FILE, &bytes, &files[i].length, error))
            return false;
        files[i].bytes = bytes;
    }
    return true;
}

static void try_draft(struct arena *arena, const struct draft *draft, const struct draft_file *files, size_t count,
                      int64_t now, struct text *ret)
{
    struct config_problems problems;
    config_problems_init(&problems);
    const char *settings = arena_printf(arena, "%s%s", TRIAL, draft->yaml);
    struct config *config = config_load_bytes("draft", settings, strlen(settings), &problems);
    text_puts(ret, "\n# What it reads with this draft, times in UTC:\n");
    for (size_t i = 0; !config && i < problems.count; i++)
        text_printf(ret, "# the draft is unsound: %s\n", problems.list[i].text);
    for (size_t i = 0; config && i < count; i++)
        show_file(arena, config, &files[i], now, ret);
    config_free(config);
    config_problems_done(&problems);
}

static void show_file(struct arena *arena, const struct config *config, const struct draft_file *file, int64_t now,
                      struct text *ret)
{
    struct batch batch;
    struct error error;
    char name[256];
    text_make_visible(file->path, name, sizeof name);
    bool is_read = intake_read(arena, config, file->path, file->bytes, file->length, now, true, &batch, &error);
    if (config->layouts[0].holds == LAYOUT_NOTES) {
        text_printf(ret, "# '%s': field notes; whose they are only the settings tell\n", name);
        return;
    }
    if (!is_read) {
        text_printf(ret, "# '%s': %s\n", name, error.text);
        return;
    }
    text_printf(ret, "# '%s': %zu of %zu rows", name, batch.readings.n, batch.rows);
    show_readings(&batch, ret);
    size_t shown = 0;
    for (size_t i = 0; i < batch.complaint_count && shown < MOST_SHOWN_COMPLAINTS; i++) {
        /* A serial or label that is not in the settings is no fault of the draft. */
        if (strstr(batch.complaints[i].text, "trial-"))
            continue;
        text_printf(ret, "#   %s\n", batch.complaints[i].text);
        shown++;
    }
}

/* The span, and the first row in written units. */
static void show_readings(const struct batch *batch, struct text *ret)
{
    const struct readings *readings = &batch->readings;
    char from[TIMESTAMP_SIZE], to[TIMESTAMP_SIZE];
    text_printf(ret, ", %s to %s\n#   first:", timestamp_print(readings->time[0], from),
                timestamp_print(readings->time[readings->n - 1], to));
    const char *between = " ";
    for (enum quantity q = 0; q < QUANTITY_COUNT; q++) {
        if (!readings->value[q] || isnan(readings->value[q][0]))
            continue;
        text_printf(ret, "%s%s %.*f %s", between, quantity_info(q)->key, quantity_info(q)->decimals,
                    quantity_to_written(q, readings->value[q][0]), quantity_info(q)->unit);
        between = ", ";
    }
    text_putc(ret, '\n');
}
