/* SPDX-License-Identifier: MIT */
#include "service/signs.h"

#include "base/log.h"
#include "base/text.h"
#include "base/timestamp.h"
#include "service/systemd.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

enum { METRICS_AFTER = 60000 /* ms after which metrics are written even while there is work */ };

static bool tell_inbox(struct signs *signs);
static void note_change(struct signs *signs, const struct clocks *clocks);

void signs_open(struct signs *ret, const struct clocks *clocks, bool shows_progress)
{
    ret->run = (struct metrics_run){clocks->disk_wall, clocks->disk_wall, TIME_NONE, .scan_seconds = NAN};
    ret->watchdog_interval = systemd_watchdog_interval();
    if (shows_progress)
        progress_open(&ret->progress);
}

void signs_ready(const struct config *config)
{
    systemd_notify_ready();
    log_notice("watching '%s' for %zu stations and %zu barometers", config->inbox, config->station_count,
               config->barometer_count);
}

void signs_stopping(struct signs *signs)
{
    progress_close(&signs->progress);
    systemd_notify_stopping();
}

void signs_reloading(const struct clocks *clocks)
{
    systemd_notify_reloading(clocks->monotonic);
}

void signs_reloaded(struct signs *signs, const struct clocks *clocks, bool is_accepted)
{
    signs->run.settings_refused += !is_accepted;
    signs->changed_since = clocks->monotonic;
    systemd_notify_ready();
}

void signs_watchdog(struct signs *signs, const struct clocks *clocks)
{
    if (!signs->watchdog_interval || clocks->monotonic < signs->watchdog_due)
        return;
    systemd_notify_watchdog();
    signs->watchdog_due = clocks->monotonic + signs->watchdog_interval;
}

void signs_failure(struct signs *signs, const struct clocks *clocks, const struct error *error, int64_t pause)
{
    char words[TIMESTAMP_SIZE];
    signs->run.failures++;
    note_change(signs, clocks);
    log_entry(LOG_LEVEL_ERROR, LOG_FIELDS({"RILLWARD_OUTCOME", "paused"}), "%s; trying again in %s", error->text,
              duration_print(pause, words));
    systemd_notify_status("in trouble: %s", error->text);
}

bool signs_take_in(struct signs *signs, const struct signs_view *view, bool worked)
{
    struct metrics_run *run = &signs->run;
    watch_report(view->watch, &run->inbox);
    bool is_news = tell_inbox(signs); /* an inbox that is lost ends no scan */
    bool is_scanned = run->inbox.scans > 0 && run->inbox.scans != signs->scans_seen;
    signs->scans_seen = run->inbox.scans;
    if (signs->scan_began == 0 && !watch_is_idle(view->watch))
        signs->scan_began = view->clocks->monotonic;
    if (is_scanned) {
        run->last_scan = view->clocks->disk_wall;
        run->scan_seconds = signs->scan_began ? (double)(clock_monotonic() - signs->scan_began) / 1000 : 0;
    }
    if (watch_is_idle(view->watch))
        signs->scan_began = 0;
    if (worked || is_scanned || is_news) {
        run->last_turn = view->clocks->disk_wall;
        note_change(signs, view->clocks);
    }
    return is_scanned && (run->inbox.inbox_missing || run->inbox.unreadable > 0);
}

bool signs_metrics_due(const struct signs *signs, const struct clocks *clocks, bool worked)
{
    bool is_worth_it = signs->changed_since && (!worked || clocks->monotonic - signs->changed_since > METRICS_AFTER);
    return is_worth_it && clocks->monotonic >= signs->metrics_at;
}

bool signs_write_metrics(struct signs *signs, const struct signs_view *view)
{
    signs->changed_since = 0;
    signs->metrics_at = view->clocks->monotonic + METRICS_PAUSE;
    if (!view->config->metrics_file)
        return false;
    struct metrics metrics = {.run = signs->run};
    struct text text;
    struct error error;
    text_init(&text, (size_t)64 << 20);
    arena_reset(view->arena);
    bool ok = metrics_gather(view->config, view->store, view->arena, &metrics, &error);
    if (ok) {
        metrics_render(&metrics, &text);
        ok = metrics_write(view->config->metrics_file, &text, &error);
    }
    text_done(&text);
    if (!ok && !signs->metrics_failed) /* once, not every quarter of a minute */
        log_warning("%s", error.text);
    signs->metrics_failed = !ok;
    return true;
}

void signs_beat(const struct signs *signs, const struct signs_view *view, struct heart *heart, struct notify *notify)
{
    const struct heart_facts facts = {.wall = view->clocks->wall,
                                      .disk_wall = view->clocks->disk_wall,
                                      .monotonic = view->clocks->monotonic,
                                      .paused_until = view->paused_until,
                                      .next_alarm_look = view->next_alarm_look,
                                      .run = &signs->run};
    heart_beat(heart, notify, view->config, view->store, view->arena, &facts);
}

void signs_show(struct signs *signs, const struct signs_view *view)
{
    struct progress *progress = &signs->progress;
    int64_t now = view->clocks->monotonic;
    struct store_counts counts;
    struct error ignored; /* whoever needs the store tells of it */
    if (!progress_is_due(progress, now))
        return;
    if (!watch_is_idle(view->watch))
        progress_tell(progress, "taking drops", signs->run.drops_taken, 0, now);
    else if (!store_counts(view->store, &counts, &ignored))
        return;
    else if (counts.dirty > 0)
        progress_tell_left(progress, "deriving spans", (size_t)counts.dirty, now);
    else if (counts.pages_due > 0)
        progress_tell_left(progress, "writing records", (size_t)counts.pages_due, now);
    else if (view->in_the_air > 0)
        progress_tell_left(progress, "sending notices", view->in_the_air, now);
}

int64_t signs_watchdog_deadline(const struct signs *signs)
{
    return signs->watchdog_interval ? signs->watchdog_due : TIME_FOREVER;
}

int64_t signs_metrics_deadline(const struct signs *signs, const struct config *config)
{
    return signs->changed_since && config->metrics_file ? signs->metrics_at : TIME_FOREVER;
}

bool signs_need_hand(const struct signs_view *view)
{
    struct store_counts counts;
    struct outbox_line *lines;
    size_t n;
    struct error ignored; /* a store that cannot be read is told by whoever needs it */
    if (!store_counts(view->store, &counts, &ignored) ||
        !store_outbox_summary(view->store, view->arena, &lines, &n, &ignored))
        return true;
    bool undelivered = false;
    for (size_t k = 0; k < n; k++)
        undelivered |= lines[k].due > 0 || lines[k].given_up > 0;
    return counts.waiting > 0 || counts.set_aside > 0 || counts.left_alone > 0 || undelivered;
}

/* Once when it comes, once when it is over; true then. */
static bool tell_inbox(struct signs *signs)
{
    const char *note = signs->run.inbox.note;
    if (strcmp(note, signs->inbox_note) == 0)
        return false;
    if (*note)
        log_warning("%s", note);
    else
        log_notice("the inbox is well again");
    snprintf(signs->inbox_note, sizeof signs->inbox_note, "%s", note);
    return true;
}

static void note_change(struct signs *signs, const struct clocks *clocks)
{
    if (!signs->changed_since)
        signs->changed_since = clocks->monotonic;
}
