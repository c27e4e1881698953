/* SPDX-License-Identifier: MIT */
#include "intake/intake.h"

#include "intake/encoding.h"
#include "intake/job.h"
#include "intake/layout.h"

bool intake_read(struct arena *arena, const struct config *config, const char *path, const char *bytes, size_t length,
                 int64_t now, bool open_end_is_fine, struct batch *ret, struct error *error)
{
    *ret = (struct batch){.evidence = ""};
    if (length == 0)
        return fail(error, ERROR_INPUT, "the file is empty");
    const char *foreign = encoding_foreign(bytes, length);
    if (foreign)
        return fail(error, ERROR_INPUT, "it is %s", foreign);
    struct decoded text;
    if (!encoding_decode(arena, bytes, length, &text, error))
        return false;
    if (text.length == 0)
        return fail(error, ERROR_INPUT, "the file is empty");
    struct job job = {
        .arena = arena, .config = config, .path = path, .now = now, .batch = ret, .text_length = text.length};
    struct error inner;
    bool is_known = layout_choose(arena, config, path, &text, &job.binding, &job.table, &inner);
    bool ends_open = is_known ? job.table.ends_open : layout_text_ends_open(arena, &text);
    ret->layout = is_known ? job.binding.layout : NULL;
    if (ends_open && !open_end_is_fine && !(is_known && job.binding.layout->may_end_open)) {
        ret->ends_open = true;
        return true;
    }
    if (!is_known)
        return fail(error, inner.kind, "%s", inner.text);
    ret->is_notes = job.binding.layout->holds == LAYOUT_NOTES;
    return ret->is_notes ? read_notes(&job, error) : read_readings(&job, error);
}

bool intake_check_layout(const struct layout *layout, struct error *error)
{
    return layout_check(layout, error);
}
