/* SPDX-License-Identifier: MIT */
#include "service/service.h"

#include "archive/page.h"
#include "base/file.h"
#include "base/log.h"
#include "base/timestamp.h"
#include "notify/notify.h"
#include "service/attempt.h"
#include "service/deliver.h"
#include "service/leftovers.h"
#include "service/pipeline.h"
#include "service/publish.h"
#include "service/retain.h"
#include "service/sandbox.h"
#include "service/signs.h"
#include "service/taker.h"
#include "service/wake.h"

#include <errno.h>
#include <limits.h>
#include <malloc.h>
#include <signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/epoll.h>
#include <sys/signalfd.h>
#include <sys/stat.h>
#include <unistd.h>

enum stage {
    STAGE_NONE,
    STAGE_DELIVERIES,
    STAGE_TAKE,
    STAGE_DERIVE,
    STAGE_NOTICES,
    STAGE_RECORDS,
    STAGE_TIME,
    STAGE_PUBLISH,
    STAGE_RETAIN,
};
enum source { SOURCE_SIGNALS, SOURCE_INBOX, SOURCE_NETWORK, SOURCE_BELL, SOURCE_WORKERS };

enum {
    DERIVE_AFTER = 300,     /* ms of taking drops after which what is dirty is derived in between, the freshest first */
    PUBLISH_AFTER = 60000,  /* ms after which due pages are written even while drops keep coming */
    SETTLING_MARGIN = 2000, /* ms beyond the settling time after which a file that still waits is not waited for */
    ONCE_DELIVERY = 60000,  /* ms that `once` waits for recipients */
    FAILURE_PAUSE_MOST = 60000,
    NETWORK_SHARE = 20, /* the network's own files are written for at most one part in so many of the time */
    NETWORK_PAUSE_MOST = 60000,
};

struct service {
    const struct service_options *options;
    struct config *config;
    struct store *store;
    struct watch *watch;
    struct taker taker;
    struct deliverer deliverer;
    struct pipeline pipeline;
    struct publisher *publisher;
    struct retainer retainer;
    struct sandbox *sandbox; /* NULL: the settings want none */
    struct signs signs;
    struct attempts attempts;
    int epoll_fd, signal_fd, bell_fd;
    struct clocks clocks;             /* read once a turn */
    int64_t started;                  /* monotonic */
    int64_t busy_since;               /* monotonic: first of the turns in a row that did anything; 0 */
    int64_t derived_at, published_at; /* monotonic */
    int64_t network_at;               /* monotonic: the network's own files are not written again before */
    bool network_waits;               /* they are due */
    int64_t paused_until, pause;      /* monotonic: after a failure of the machine, for how long */
    enum stage failed_in;
    int64_t quiet_since; /* `once`: since when only recipients are waited for; 0: not yet */
    bool stops, reloads, did_trim;
    bool ended_well; /* nothing failed, from start to end */
};

static bool turn(struct service *s, bool *ret_is_done, struct error *error);
static bool start(struct service *s, struct error *error);
static bool open_watch(struct service *s, struct error *error);
static bool open_publisher(struct service *s, struct error *error);
static bool listen_to(struct service *s, int fd, enum source source, struct error *error);
static bool listen_to_signals(struct service *s, struct error *error);
static void finish(struct service *s);
static void wait_for_something(struct service *s);
static int64_t next_deadline(struct service *s);
static void hear_bell(struct service *s);
static void receive_signals(struct service *s);
static void reload(struct service *s);
static void adopt(struct service *s, struct config *fresh, const struct pipeline *pipeline);
static bool work(struct service *s, bool *ret_worked, struct error *error);
static bool is_past(struct service *s, enum stage stage, bool ok);
static bool is_longer_than(const struct service *s, int64_t time, int64_t begun, int64_t last_done);
static bool take_drops(struct service *s, bool *ret_worked, struct error *error);
static bool derive(struct service *s, bool *ret_worked, struct error *error);
static bool is_settling_in(const struct service *s);
static bool look_at_time(struct service *s, struct error *error);
static bool publish_records(struct service *s, bool inbox_is_quiet, bool is_overdue, bool *ret_worked,
                            struct error *error);
static bool publish_rest(struct service *s, bool *ret_worked, struct error *error);
static void finish_network(struct service *s);
static void pause_after(struct service *s, const struct error *error);
static bool once_is_done(struct service *s);
static bool make_places(const struct config *config, struct error *error);
static bool enter_sandbox(struct service *s, struct error *error);
static bool is_locked_out(struct service *s, struct error *error);
static struct signs_view view_of(const struct service *s);
static bool give_signs(struct service *s, bool worked, struct error *error);

bool service_run(const struct service_options *options, struct config *config, bool *ret_needs_hand,
                 struct error *error)
{
    struct service s = {
        .options = options, .config = config, .epoll_fd = -1, .signal_fd = -1, .bell_fd = -1, .attempts.fd = -1};
    if (options->clock_set != TIME_NONE)
        s.clocks.shift = options->clock_set - clock_wall();
    clocks_read(&s.clocks);
    s.started = s.clocks.monotonic;
    s.deliverer.may_wait = !options->once;
    signs_open(&s.signs, &s.clocks, options->once);
    bool ok = start(&s, error);
    if (ok)
        signs_ready(s.config);
    for (bool is_done = false; ok && !is_done && !s.stops;)
        ok = turn(&s, &is_done, error);
    signs_stopping(&s.signs);
    if (ok)
        finish_network(&s);
    const struct signs_view view = view_of(&s);
    if (ok)
        signs_write_metrics(&s.signs, &view);
    *ret_needs_hand = ok && signs_need_hand(&view);
    s.ended_well = ok && s.signs.run.failures == 0;
    finish(&s);
    return ok;
}

/* One piece of each kind of work that there is, then whatever else wants to be heard. False: only starting again helps.
 */
static bool turn(struct service *s, bool *ret_is_done, struct error *error)
{
    bool worked = false;
    struct error problem;
    clocks_read(&s->clocks);
    if (s->clocks.monotonic >= s->paused_until && !work(s, &worked, &problem)) {
        if (problem.kind == ERROR_STORAGE) {
            *error = problem;
            return false;
        }
        pause_after(s, &problem);
        if (is_locked_out(s, error))
            return false;
    }
    if (!give_signs(s, worked, error))
        return false;
    *ret_is_done = s->options->once && !worked && once_is_done(s);
    if (*ret_is_done)
        return true;
    if (!worked)
        wait_for_something(s);
    else
        receive_signals(s); /* never blocks: a stop is heard between two pieces of work */
    if (s->reloads)
        reload(s);
    return true;
}

static bool start(struct service *s, struct error *error)
{
    signal(SIGPIPE, SIG_IGN); /* a broken log pipe or connection is an error to handle, not an end */
    signal(SIGIO, SIG_IGN);   /* a lease that somebody breaks while we look */
    s->epoll_fd = epoll_create1(EPOLL_CLOEXEC);
    if (s->epoll_fd < 0)
        return fail_errno(error, ERROR_SYSTEM, "cannot make an event queue");
    if (!listen_to_signals(s, error) || !make_places(s->config, error))
        return false;
    setenv("SQLITE_TMPDIR", s->config->state,
           1); /* the sandbox has no other place for the database's temporary files */
    s->store = store_open(s->config->state, error);
    if (!s->store || !retain_compact(s->config, s->store, error) ||
        !pipeline_open(&s->pipeline, s->config, s->store, error) || !open_watch(s, error))
        return false;
    if (!attempts_open(&s->attempts, s->config->state, s->store, s->config->digest, s->clocks.wall, error))
        return false;
    s->taker.is_careful = s->attempts.left_drop;
    s->pipeline.attempts = &s->attempts;
    s->bell_fd = wake_open(s->config->state, error);
    if (s->bell_fd < 0 || !listen_to(s, s->bell_fd, SOURCE_BELL, error))
        return false;
    if (s->config->sandbox == SANDBOX_ON && !enter_sandbox(s, error)) /* before the first thread */
        return false;
    if (!open_publisher(s, error))
        return false;
    s->deliverer.notify = notify_open(s->config, error);
    if (!s->deliverer.notify || !listen_to(s, notify_fd(s->deliverer.notify), SOURCE_NETWORK, error))
        return false;
    size_t leftovers = leftovers_begin(s->config);
    if (leftovers > 0)
        log_notice("removed %zu half-written files that an earlier stop left in the archive", leftovers);
    return true;
}

static bool make_places(const struct config *config, struct error *error)
{
    char metrics[PATH_MAX];
    if (!file_make_folders(config->archive, error) || !file_make_folders(config->state, error))
        return false;
    if (config->part && !page_shared_write(config, error))
        return false;
    if (!config->metrics_file)
        return true;
    snprintf(metrics, sizeof metrics, "%.*s", (int)(strrchr(config->metrics_file, '/') - config->metrics_file),
             config->metrics_file);
    return !*metrics || file_make_folders(metrics, error);
}

static bool enter_sandbox(struct service *s, struct error *error)
{
    struct text said;
    s->sandbox = sandbox_plan(s->config, s->options->config_path);
    if (!sandbox_enter(s->sandbox, INT_MAX, error))
        return within(error, "the sandbox ('sandbox: off' leaves it to the unit)");
    s->signs.run.is_sandboxed = sandbox_is_entered(s->sandbox);
    text_init(&said, 16384);
    sandbox_describe(s->sandbox, &said);
    log_notice("%s", said.bytes);
    text_done(&said);
    return true;
}

/* Rules are tied to folders as they were at the start: what was mounted over one since is closed to us for good. */
static bool is_locked_out(struct service *s, struct error *error)
{
    const char *path = sandbox_find_stale(s->sandbox);
    if (!path)
        return false;
    fail(error, ERROR_SYSTEM,
         "'%s' was mounted or made anew since the start, and the sandbox has no access to it: ending, so that the "
         "service "
         "manager starts the service again",
         path);
    return true;
}

static bool open_watch(struct service *s, struct error *error)
{
    struct watch_settings settings = {.root = s->config->inbox,
                                      .ignore = s->config->ignore.words,
                                      .ignore_count = s->config->ignore.count,
                                      .settle_ms = s->config->settle,
                                      .rescan_ms = s->config->rescan};
    watch_close(s->watch);
    s->watch = watch_open(&settings, error);
    if (!s->watch)
        return false;
    return watch_fd(s->watch) < 0 || listen_to(s, watch_fd(s->watch), SOURCE_INBOX, error);
}

static bool open_publisher(struct service *s, struct error *error)
{
    s->publisher = publisher_open(s->config, error);
    return s->publisher && listen_to(s, publisher_fd(s->publisher), SOURCE_WORKERS, error);
}

static bool listen_to(struct service *s, int fd, enum source source, struct error *error)
{
    /* Told once: in a pause after a failure what is finished is left where it is. */
    bool is_once = source == SOURCE_NETWORK || source == SOURCE_WORKERS;
    struct epoll_event event = {.events = EPOLLIN | (is_once ? EPOLLET : 0), .data.u32 = source};
    if (epoll_ctl(s->epoll_fd, EPOLL_CTL_ADD, fd, &event) == 0)
        return true;
    return fail_errno(error, ERROR_SYSTEM, "cannot listen to a source of events");
}

static bool listen_to_signals(struct service *s, struct error *error)
{
    sigset_t set;
    sigemptyset(&set);
    sigaddset(&set, SIGTERM);
    sigaddset(&set, SIGINT);
    sigaddset(&set, SIGHUP);
    sigprocmask(SIG_BLOCK, &set, NULL);
    s->signal_fd = signalfd(-1, &set, SFD_CLOEXEC | SFD_NONBLOCK);
    if (s->signal_fd < 0)
        return fail_errno(error, ERROR_SYSTEM, "cannot listen to signals");
    return listen_to(s, s->signal_fd, SOURCE_SIGNALS, error);
}

static void finish(struct service *s)
{
    notify_close(s->deliverer.notify);
    publisher_close(s->publisher);
    watch_close(s->watch);
    taker_done(&s->taker);
    if (s->pipeline.arena)
        pipeline_close(&s->pipeline);
    if (s->ended_well)
        leftovers_end(s->config);
    store_close(s->store);
    sandbox_free(s->sandbox);
    attempts_close(&s->attempts);
    if (s->bell_fd >= 0)
        close(s->bell_fd);
    if (s->signal_fd >= 0)
        close(s->signal_fd);
    if (s->epoll_fd >= 0)
        close(s->epoll_fd);
    config_free(s->config);
}

/* ---- sleeping ---- */

static void wait_for_something(struct service *s)
{
    if (!s->did_trim &&
        !publisher_is_busy(s->publisher)) { /* before the first long sleep after work: give back what the work needed */
        arena_reset(s->pipeline.arena);
        publisher_trim(s->publisher);
        malloc_trim(0);
        s->did_trim = true;
    }
    int64_t wait = next_deadline(s) - s->clocks.monotonic;
    int timeout = wait < 0 ? 0 : wait > INT32_MAX ? -1 : (int)wait + 1; /* rounding down would spin */
    struct epoll_event events[4];
    int n = epoll_wait(s->epoll_fd, events, 4, timeout);
    clocks_read(&s->clocks);
    for (int k = 0; k < n; k++) {
        switch ((enum source)events[k].data.u32) {
        case SOURCE_SIGNALS: receive_signals(s); break;
        case SOURCE_INBOX: watch_receive(s->watch, s->clocks.monotonic); break;
        case SOURCE_BELL: hear_bell(s); break;
        case SOURCE_NETWORK:
        case SOURCE_WORKERS: break; /* what is finished is collected with the next piece of work */
        }
    }
    signs_watchdog(&s->signs, &s->clocks);
}

/* A command answered an alarm, or wants drops looked at again: there may be news to send, and another time to look at.
 */
static void hear_bell(struct service *s)
{
    wake_clear(s->bell_fd);
    s->pipeline.next_alarm_look = TIME_NONE;
    s->deliverer.due = s->clocks.wall;
    watch_rescan(s->watch);
}

static int64_t sooner(int64_t a, int64_t b)
{
    return a < b ? a : b;
}

static int64_t next_deadline(struct service *s)
{
    int64_t next = TIME_FOREVER, shift = s->clocks.wall - s->clocks.monotonic;
    if (!s->options->once)
        next = sooner(next, heart_deadline(&s->deliverer.heart, s->config));
    next = sooner(next, signs_watchdog_deadline(&s->signs));
    if (s->paused_until > s->clocks.monotonic)
        return sooner(next, s->paused_until);
    next = sooner(next, watch_deadline(s->watch));
    if (is_settling_in(s)) /* what time alone can raise was put off until then */
        next = sooner(next, s->started + s->config->settle + SETTLING_MARGIN);
    if (s->deliverer.due != TIME_FOREVER)
        next = sooner(next, s->deliverer.due - shift);
    if (s->pipeline.next_alarm_look != TIME_FOREVER && s->pipeline.next_alarm_look != TIME_NONE)
        next = sooner(next, s->pipeline.next_alarm_look - shift);
    next = sooner(next, signs_metrics_deadline(&s->signs, s->config));
    if (s->network_waits)
        next = sooner(next, s->network_at);
    if (s->options->once)
        next = sooner(next, s->clocks.monotonic + 200); /* until recipients have answered, or have had their time */
    return next;
}

static void receive_signals(struct service *s)
{
    struct signalfd_siginfo info;
    while (read(s->signal_fd, &info, sizeof info) == (ssize_t)sizeof info) {
        if (info.ssi_signo == SIGHUP) {
            s->reloads = true;
        } else {
            log_notice("stopping");
            s->stops = true;
        }
    }
}

/* A bad file keeps the running settings; what is wrong with it is all told. */
static void reload(struct service *s)
{
    s->reloads = false;
    clocks_read(&s->clocks); /* the manager wants to know when it began, not when the turn did */
    signs_reloading(&s->clocks);
    struct config_problems problems;
    config_problems_init(&problems);
    struct config *fresh = config_load(s->options->config_path, &problems);
    for (size_t k = 0; !fresh && k < problems.count; k++)
        log_error("%s", config_problem_print(&problems.list[k], problems.arena));
    struct pipeline pipeline;
    struct error error;
    struct sandbox *wanted = fresh ? sandbox_plan(fresh, s->options->config_path) : NULL;
    bool is_accepted = false;
    if (!fresh) {
        log_error("the settings have %zu mistakes: the running ones stay in force", problems.count);
    } else if (strcmp(fresh->state, s->config->state) != 0) {
        log_error(
            "the state folder cannot change while running: the running settings stay in force; restart to change it");
        config_free(fresh);
    } else if (!sandbox_covers(s->sandbox, wanted, &error) || !make_places(fresh, &error) ||
               !pipeline_open(&pipeline, fresh, s->store, &error)) {
        log_error("the running settings stay in force: %s", error.text);
        config_free(fresh);
    } else {
        adopt(s, fresh, &pipeline);
        is_accepted = true;
    }
    config_problems_done(&problems);
    sandbox_free(wanted);
    signs_reloaded(&s->signs, &s->clocks, is_accepted);
}

/* Both become the service's. */
static void adopt(struct service *s, struct config *fresh, const struct pipeline *pipeline)
{
    struct config *old = s->config;
    struct error error;
    publisher_close(s->publisher); /* its threads read the old settings */
    s->publisher = NULL;
    pipeline_close(&s->pipeline);
    s->pipeline = *pipeline;
    s->pipeline.attempts = &s->attempts;
    if (strcmp(fresh->archive, old->archive) != 0)
        leftovers_begin(fresh);
    s->config = fresh;
    notify_reconfigure(s->deliverer.notify, fresh);
    s->deliverer.due = s->clocks.wall;
    if (!open_watch(s, &error))
        log_error("%s", error.text);
    if (!open_publisher(s, &error)) {
        log_error("%s", error.text);
        s->stops = true;
    }
    if (fresh->sandbox != old->sandbox)
        log_warning("'sandbox' takes effect when the service starts again");
    config_free(old);
    log_notice("settings were read again");
}

/* ---- one turn: the urgent first ---- */

static bool work(struct service *s, bool *ret_worked, struct error *error)
{
    if (!is_past(s, STAGE_DELIVERIES,
                 deliver_collect(&s->deliverer, &s->pipeline, s->clocks.wall, ret_worked, error)) ||
        !is_past(s, STAGE_TAKE, take_drops(s, ret_worked, error)))
        return false;
    bool inbox_is_quiet = watch_is_idle(s->watch);
    bool takes_long = is_longer_than(s, DERIVE_AFTER, s->taker.took_since, s->derived_at);
    if ((inbox_is_quiet || takes_long) && !is_past(s, STAGE_DERIVE, derive(s, ret_worked, error)))
        return false;
    bool is_overdue = is_longer_than(s, PUBLISH_AFTER, s->busy_since, s->published_at);
    if (!is_past(s, STAGE_NOTICES, deliver_begin(&s->deliverer, &s->pipeline, s->clocks.wall, ret_worked, error)) ||
        !is_past(s, STAGE_RECORDS, publish_records(s, inbox_is_quiet, is_overdue, ret_worked, error)))
        return false;
    if (!*ret_worked || is_overdue) {
        if (inbox_is_quiet && !is_settling_in(s) && !is_past(s, STAGE_TIME, look_at_time(s, error)))
            return false;
        if (!publisher_is_busy(s->publisher) && !is_past(s, STAGE_PUBLISH, publish_rest(s, ret_worked, error)))
            return false;
        /* What time alone raised is sent in the same turn. */
        if (!*ret_worked &&
            !is_past(s, STAGE_NOTICES, deliver_begin(&s->deliverer, &s->pipeline, s->clocks.wall, ret_worked, error)))
            return false;
    }
    if (!*ret_worked && s->signs.run.inbox.scans > 0 &&
        !is_past(s, STAGE_RETAIN,
                 retain_some(&s->retainer, &s->pipeline, !s->signs.run.inbox.inbox_missing, s->clocks.wall,
                             s->clocks.monotonic, ret_worked, error)))
        return false;
    if (*ret_worked)
        s->did_trim = false;
    else if (!publisher_is_busy(s->publisher))
        attempts_rest(&s->attempts);
    s->busy_since = !*ret_worked ? 0 : s->busy_since ? s->busy_since : s->clocks.monotonic;
    signs_watchdog(&s->signs, &s->clocks);
    return true;
}

/* The pause grows until the stage that failed gets past it. Looking through the inbox up to the drop that failed is not
 * past it, and neither are records that workers are still at. */
static bool is_past(struct service *s, enum stage stage, bool ok)
{
    bool is_at_it = (stage == STAGE_TAKE && s->taker.took_since == 0 && !watch_is_idle(s->watch)) ||
                    (stage == STAGE_RECORDS && publisher_is_busy(s->publisher));
    if (!ok) {
        s->failed_in = stage;
    } else if (s->failed_in == stage && !is_at_it) {
        s->pause = 0;
        s->failed_in = STAGE_NONE;
    }
    return ok;
}

/* Since both: a long rest before the work began does not count. */
static bool is_longer_than(const struct service *s, int64_t time, int64_t begun, int64_t last_done)
{
    return begun != 0 && s->clocks.monotonic - (begun > last_done ? begun : last_done) > time;
}

static bool take_drops(struct service *s, bool *ret_worked, struct error *error)
{
    size_t count;
    bool ok = taker_turn(&s->taker, &s->pipeline, s->watch, &s->clocks, &s->signs.run, &count, error);
    if (ok && count > 0)
        s->deliverer.due = s->clocks.wall; /* answers may have made news */
    *ret_worked |= ok && (count > 0 || !watch_is_idle(s->watch));
    return ok;
}

static bool derive(struct service *s, bool *ret_worked, struct error *error)
{
    bool worked;
    if (!pipeline_derive(&s->pipeline, s->clocks.wall, &worked, error))
        return false;
    s->derived_at = s->clocks.monotonic;
    if (worked)
        s->deliverer.due = s->clocks.wall; /* there may be news to send */
    *ret_worked |= worked;
    return true;
}

/* What came while we were away may have to rest before it is read: until then nobody is called silent. */
static bool is_settling_in(const struct service *s)
{
    return watch_count_waiting(s->watch) > 0 && s->clocks.monotonic - s->started < s->config->settle + SETTLING_MARGIN;
}

static bool look_at_time(struct service *s, struct error *error)
{
    int64_t due = s->pipeline.next_alarm_look;
    if (due != TIME_NONE && due > s->clocks.wall)
        return true;
    if (!pipeline_advance(&s->pipeline, s->clocks.wall, error))
        return false;
    s->deliverer.due = s->clocks.wall;
    return true;
}

/* The workers are kept busy while drops are derived, but with months that stand still; only after a long time without a
 * pause also with those that do not. */
static bool publish_records(struct service *s, bool inbox_is_quiet, bool is_overdue, bool *ret_worked,
                            struct error *error)
{
    bool worked = false;
    if (!inbox_is_quiet && !is_overdue && !publisher_is_busy(s->publisher))
        return true;
    if (!publish_months(&s->pipeline, s->publisher, is_overdue, &worked, error))
        return false;
    *ret_worked |= worked;
    return true;
}

/* Pages and manifests, when the records stand. The network's own files are over all stations, whichever changed: at
 * once after a pause, but with change upon change the more rarely the longer they take, so that neither processor nor
 * disk (nor whoever copies the archive elsewhere) is busy with them alone. */
static bool publish_rest(struct service *s, bool *ret_worked, struct error *error)
{
    enum published published;
    int64_t begun = clock_monotonic();
    if (!publish_pages(&s->pipeline, s->publisher, s->options->once || begun >= s->network_at, &published, error))
        return false;
    s->network_waits = published == PUBLISHED_NETWORK_LATER;
    if (published == PUBLISHED_NETWORK) {
        int64_t ended = clock_monotonic(), pause = (ended - begun) * (NETWORK_SHARE - 1);
        s->network_at = ended + (pause < NETWORK_PAUSE_MOST ? pause : NETWORK_PAUSE_MOST);
        log_debug("wrote the network's files in %d ms", (int)(ended - begun));
    }
    *ret_worked |= published == PUBLISHED_STATIONS || published == PUBLISHED_NETWORK;
    if (published == PUBLISHED_NOTHING)
        s->published_at = s->clocks.monotonic;
    return true;
}

/* The network's files may wait for their share of the time. A stop does not leave them behind the stations' own, which
 * are written: the archive that stands is whole. */
static void finish_network(struct service *s)
{
    struct error problem;
    enum published published;
    uint32_t *places;
    size_t n;
    arena_reset(s->pipeline.arena);
    bool ok = store_manifests_due(s->store, s->pipeline.arena, &places, &n, &problem);
    if (ok && n == 1 && places[0] == 0)
        ok = publish_pages(&s->pipeline, s->publisher, true, &published, &problem);
    if (!ok)
        log_warning("%s; the next start writes it", problem.text);
}

/* ---- what others may know ---- */

static struct signs_view view_of(const struct service *s)
{
    return (struct signs_view){.config = s->config,
                               .store = s->store,
                               .arena = s->pipeline.arena,
                               .watch = s->watch,
                               .clocks = &s->clocks,
                               .paused_until = s->paused_until,
                               .next_alarm_look = s->pipeline.next_alarm_look,
                               .in_the_air = s->deliverer.in_the_air};
}

/* False with an error when only starting again helps. */
static bool give_signs(struct service *s, bool worked, struct error *error)
{
    const struct signs_view view = view_of(s);
    bool is_in_trouble = signs_take_in(&s->signs, &view, worked);
    if (signs_metrics_due(&s->signs, &s->clocks, worked) && signs_write_metrics(&s->signs, &view))
        s->did_trim = false;
    if (is_in_trouble && is_locked_out(s, error))
        return false;
    if (!s->options->once)
        signs_beat(&s->signs, &view, &s->deliverer.heart, s->deliverer.notify);
    signs_show(&s->signs, &view);
    return true;
}

/* ---- failure and the end ---- */

/* The machine is in the way (disk full, permission): say it once, keep the inbox as it is, try again with growing
 * pauses. */
static void pause_after(struct service *s, const struct error *error)
{
    store_rollback(s->store);
    s->pause = s->pause == 0 ? 1000 : s->pause * 2 < FAILURE_PAUSE_MOST ? s->pause * 2 : FAILURE_PAUSE_MOST;
    s->paused_until = s->clocks.monotonic + s->pause;
    signs_failure(&s->signs, &s->clocks, error, s->pause);
}

/* Everything is taken, derived and published, and every recipient has been told or has had its time. */
static bool once_is_done(struct service *s)
{
    if (publisher_is_busy(s->publisher))
        return false;
    if (s->clocks.monotonic < s->paused_until)
        return s->pause >= 8000; /* four tries: the machine will not get better while we wait */
    bool inbox_waits = watch_count_waiting(s->watch) > 0;
    if (!s->quiet_since)
        s->quiet_since = s->clocks.monotonic;
    int64_t waited = s->clocks.monotonic - s->quiet_since;
    if (inbox_waits && waited < s->config->settle + SETTLING_MARGIN)
        return false;
    /* What was refused for now waits for the next run: its time is minutes or hours away. */
    return s->deliverer.in_the_air == 0 || waited > ONCE_DELIVERY;
}
