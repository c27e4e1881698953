/* SPDX-License-Identifier: MIT */
#include "service/rebuild_command.h"

#include "base/text.h"
#include "base/timestamp.h"
#include "service/progress.h"
#include "service/rebuild.h"

#include <inttypes.h>

struct job {
    FILE *out;
    struct progress shown;
};

static void tell_finding(void *context, const char *path, const char *what);
static void show_work(void *context, const char *what, size_t done, size_t total);
static void print_report(FILE *out, const struct config *config, const struct rebuild_report *report, int64_t now);

bool rebuild_command_run(const struct config *config, char **places, int place_count, int64_t now, FILE *out,
                         bool *ret_needs_hand, struct error *error)
{
    struct job job = {.out = out};
    struct rebuild_options options = {.places = places,
                                      .place_count = place_count,
                                      .now = now,
                                      .tell = tell_finding,
                                      .progress = show_work,
                                      .context = &job};
    struct rebuild_report report;
    progress_open(&job.shown);
    bool ok = rebuild_run(config, &options, &report, error);
    progress_close(&job.shown);
    if (!ok)
        return false;
    print_report(out, config, &report, now);
    *ret_needs_hand = report.was_stopped || report.findings > 0 || report.condition != STORE_SOUND;
    return true;
}

static void tell_finding(void *context, const char *path, const char *what)
{
    struct job *job = context;
    char visible[4096];
    progress_hide(&job->shown);
    text_make_visible(path, visible, sizeof visible);
    fprintf(job->out, "%s: %s\n", visible, what);
}

static void show_work(void *context, const char *what, size_t done, size_t total)
{
    struct job *job = context;
    progress_tell(&job->shown, what, done, total, clock_monotonic());
}

static void print_report(FILE *out, const struct config *config, const struct rebuild_report *report, int64_t now)
{
    if (report->condition == STORE_DAMAGED)
        fprintf(out, "the database was damaged: it stands in '%s' as rillward.db.damaged-%" PRId64 "\n", config->state,
                now);
    else if (report->condition == STORE_NEW)
        fprintf(out, "there was no database in '%s'\n", config->state);
    if (report->restored > 0)
        fprintf(out, "%zu drops came back from the archive\n", report->restored);
    if (report->condition != STORE_SOUND)
        fprintf(out,
                "not restored, since only the database held them: acknowledgements, shelves, who was told of what, and "
                "files set aside (the service looks at these again); alarms that are still so are told again\n");
    fprintf(out, "%zu places made again, %zu left as they are, %zu findings\n", report->places, report->kept,
            report->findings);
    if (report->was_stopped)
        fprintf(out, "stopped: the same command goes on from here\n");
}
