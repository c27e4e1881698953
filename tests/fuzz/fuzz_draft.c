/* SPDX-License-Identifier: MIT */
/* Any bytes as a file that no layout fits. Where a draft comes of it, the settings take it, and with it intake finds
 * the table again. */
#include "config/load.h"
#include "intake/draft.h"
#include "intake/intake.h"

#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

#define PLACES                                                                                                         \
    "network: {id: fuzz}\ninbox: /a\narchive: /b\nstate: /c\nstations:\n  a: {latitude: 0, longitude: 0, elevation: "  \
    "0 m, standard_time: \"Z\", salinity: fresh, drops: [\"**\"]}\n"

static void check(struct arena *arena, const struct draft *draft, const struct draft_file *file)
{
    struct config_problems problems;
    config_problems_init(&problems);
    const char *settings = arena_printf(arena, "%s%s", PLACES, draft->yaml);
    struct config *config = config_load_bytes("draft", settings, strlen(settings), &problems);
    if (!config) {
        fprintf(stderr, "%s\n%s\n", config_problem_print(&problems.list[0], problems.arena), settings);
        abort();
    }
    struct batch batch;
    struct error error = {0};
    if (!intake_read(arena, config, "a.csv", file->bytes, file->length, 1780000000000, true, &batch, &error) &&
        error.kind == ERROR_NONE)
        abort();
    config_free(config);
    config_problems_done(&problems);
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    struct arena *arena = arena_new();
    struct draft_file file = {"a.csv", (const char *)data, size};
    struct draft draft;
    struct error error = {0};
    if (draft_layout(arena, &file, 1, &draft, &error))
        check(arena, &draft, &file);
    else if (error.kind != ERROR_INPUT)
        abort();
    arena_free(arena);
    return 0;
}
