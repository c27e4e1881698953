/* SPDX-License-Identifier: MIT */
#include "service/notebook_command.h"

#include "archive/notebook.h"
#include "base/file.h"
#include "service/target.h"

#include <string.h>

static const struct layout *find_layout(const struct config *config, const char *id);
static bool write_notebook(const struct config *config, const struct layout *layout, bool is_workbook,
                           const char *target, struct error *error);

bool notebook_command_run(const struct config *config, const char *layout_id, const char *target, struct text *ret,
                          struct error *error)
{
    const struct layout *layout = find_layout(config, layout_id);
    bool is_workbook = text_ends_with(target, ".xlsx");
    if (!layout)
        return fail(error, ERROR_INPUT, "not a layout of field notes: '%.60s'", layout_id);
    if (!is_workbook && !text_ends_with(target, ".csv"))
        return fail(error, ERROR_INPUT, "name a file that ends in .xlsx or .csv, not '%.200s'", target);
    if (!target_check(config, target, "file", error) || !write_notebook(config, layout, is_workbook, target, error))
        return false;
    bool is_placed = layout->files.count > 0;
    text_printf(ret, "'%s' is ready to be filled in%s%s\n", target,
                is_placed ? "; its path in the inbox must fit " : "", is_placed ? layout->files.words[0] : "");
    return true;
}

static const struct layout *find_layout(const struct config *config, const char *id)
{
    for (size_t i = 0; i < config->layout_count; i++)
        if (strcmp(config->layouts[i].id, id) == 0 && notebook_suits(&config->layouts[i]))
            return &config->layouts[i];
    return NULL;
}

static bool write_notebook(const struct config *config, const struct layout *layout, bool is_workbook,
                           const char *target, struct error *error)
{
    struct text text;
    text_init(&text, (size_t)16 << 20);
    is_workbook ? notebook_render_workbook(config, layout, &text) : notebook_render_csv(config, layout, &text);
    bool ok = file_write_whole(target, text.bytes, text.length, error);
    text_done(&text);
    return ok;
}
