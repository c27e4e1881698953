/* SPDX-License-Identifier: MIT */
#include "intake/intake.h"

#include "intake/job.h"
#include "intake/layout.h"

static bool read_source(struct job *job, struct source *source, bool open_end_is_fine, struct error *error);

bool intake_read(struct arena *arena, const struct config *config, const char *path, const char *bytes, size_t length,
                 int64_t now, bool open_end_is_fine, struct batch *ret, struct error *error)
{
    *ret = (struct batch){.evidence = ""};
    struct source source;
    struct job job = {.arena = arena, .config = config, .path = path, .now = now, .batch = ret};
    bool is_read =
        source_open(arena, bytes, length, &source, error) && read_source(&job, &source, open_end_is_fine, error);
    source_close(&source);
    return is_read;
}

bool intake_check_layout(const struct layout *layout, struct error *error)
{
    return layout_check(layout, error);
}

static bool read_source(struct job *job, struct source *source, bool open_end_is_fine, struct error *error)
{
    struct batch *batch = job->batch;
    struct error inner;
    bool is_known = layout_choose(job->arena, job->config, job->path, source, &job->binding, &job->table, &inner);
    bool ends_open = is_known ? job->table.ends_open : layout_ends_open(job->arena, source);
    batch->layout = is_known ? job->binding.layout : NULL;
    if (ends_open && !open_end_is_fine && !(is_known && job->binding.layout->may_end_open)) {
        batch->ends_open = true;
        return true;
    }
    if (!is_known)
        return fail(error, inner.kind, "%s", inner.text);
    job->text_length = source->text.length;
    batch->is_notes = job->binding.layout->holds == LAYOUT_NOTES;
    return batch->is_notes ? read_notes(job, error) : read_readings(job, error);
}
