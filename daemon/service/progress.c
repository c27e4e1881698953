/* SPDX-License-Identifier: MIT */
#include "service/progress.h"

#include "base/log.h"
#include "base/timestamp.h"

#include <string.h>
#include <unistd.h>

enum { DRAW_AGAIN = 100, RATE_AFTER = 1000 }; /* ms */

static bool is_other_work(const struct progress *progress, const char *what);

void progress_open(struct progress *ret)
{
    *ret = (struct progress){.is_shown = isatty(STDERR_FILENO)};
}

void progress_tell(struct progress *progress, const char *what, size_t done, size_t total, int64_t monotonic)
{
    bool is_other = is_other_work(progress, what);
    if (!progress->is_shown)
        return;
    if (!is_other && monotonic - progress->shown < DRAW_AGAIN)
        return;
    if (is_other || done < progress->first) {
        progress->what = what;
        progress->first = done;
        progress->began = monotonic;
    }
    progress->shown = monotonic;
    struct text line;
    text_init(&line, 256);
    progress_print(&line, what, done, total, progress->first, monotonic - progress->began);
    log_set_footer(line.bytes);
    text_done(&line);
}

void progress_tell_left(struct progress *progress, const char *what, size_t left, int64_t monotonic)
{
    if (is_other_work(progress, what) || left > progress->most)
        progress->most = left;
    progress_tell(progress, what, progress->most - left, progress->most, monotonic);
}

bool progress_is_due(const struct progress *progress, int64_t monotonic)
{
    return progress->is_shown && monotonic - progress->shown >= DRAW_AGAIN;
}

void progress_hide(struct progress *progress)
{
    if (progress->is_shown)
        log_set_footer("");
}

void progress_close(struct progress *progress)
{
    progress_hide(progress);
    progress->is_shown = false;
}

void progress_print(struct text *ret, const char *what, size_t done, size_t total, size_t first, int64_t elapsed)
{
    text_printf(ret, "%s: %zu", what, done);
    if (total > 0)
        text_printf(ret, " of %zu", total);
    if (elapsed < RATE_AFTER || done <= first)
        return;
    double rate = 1000.0 * (double)(done - first) / (double)elapsed;
    text_printf(ret, rate < 10 ? ", %.1f a second" : ", %.0f a second", rate);
    if (total <= done)
        return;
    char left[TIMESTAMP_SIZE];
    int64_t seconds = (int64_t)((double)(total - done) / rate) + 1;
    int64_t whole = seconds < 60 ? SECOND_MS : seconds < 7200 ? MINUTE_MS : HOUR_MS;
    text_printf(ret, ", %s left", duration_print((seconds * SECOND_MS + whole - 1) / whole * whole, left));
}

static bool is_other_work(const struct progress *progress, const char *what)
{
    return !progress->what || strcmp(progress->what, what) != 0;
}
