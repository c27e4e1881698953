/* SPDX-License-Identifier: MIT */
#include "service/verify_command.h"

#include "archive/verify.h"
#include "base/memory.h"
#include "base/text.h"
#include "base/timestamp.h"
#include "service/progress.h"
#include "store/store.h"

#include <time.h>

enum { MANIFEST_WAIT = 10000, LOOK_AGAIN = 50 /* ms */ };

struct job {
    FILE *out;
    struct progress shown;
};

static bool await_manifests(struct store *store, struct error *error);
static void tell_finding(void *context, const struct verify_finding *finding);
static void show_files(void *context, size_t files);

bool verify_command_run(const struct config *config, FILE *out, bool *ret_needs_hand, struct error *error)
{
    struct job job = {.out = out};
    struct verify_report report = {.tell = tell_finding, .progress = show_files, .context = &job};
    struct store *store = store_open_to_read(config->state, error);
    progress_open(&job.shown);
    bool ok = store && store_check_integrity(store, error) && await_manifests(store, error) &&
              archive_verify(config->archive, &report, error);
    progress_close(&job.shown);
    store_close(store);
    if (!ok)
        return false;
    size_t findings = verify_report_count(&report);
    fprintf(out, "%zu files looked at, %zu findings; the database is sound\n", report.files, findings);
    *ret_needs_hand = findings > 0;
    return true;
}

/* A running service writes the manifest of a place a moment before the one that lists it: what is on its way gets its
 * time, so that it is not taken for damage. One that never rests, or a service that was stopped at it, is told of. */
static bool await_manifests(struct store *store, struct error *error)
{
    CLEANUP(cleanup_arena) struct arena *arena = arena_new();
    const int64_t begun = clock_monotonic();
    uint32_t *due;
    size_t n;
    for (;;) {
        if (!store_manifests_due(store, arena, &due, &n, error))
            return false;
        if (n == 0)
            return true;
        if (clock_monotonic() - begun > MANIFEST_WAIT)
            break;
        nanosleep(&(struct timespec){.tv_nsec = LOOK_AGAIN * 1000000}, NULL);
    }
    fprintf(stderr, "rillward: manifests of %zu places are still to be written: what is named may be on its way\n", n);
    return true;
}

static void tell_finding(void *context, const struct verify_finding *finding)
{
    struct job *job = context;
    char path[4096];
    progress_hide(&job->shown);
    text_make_visible(finding->path, path, sizeof path);
    fprintf(job->out, "%s: %s%s%s\n", verify_kind_word(finding->kind), path, *finding->detail ? ": " : "",
            finding->detail);
}

static void show_files(void *context, size_t files)
{
    struct job *job = context;
    progress_tell(&job->shown, "checking files", files, 0, clock_monotonic());
}
