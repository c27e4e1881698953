/* SPDX-License-Identifier: MIT */
#include "watch/watch.h"

#include "base/file.h"
#include "base/memory.h"
#include "base/text.h"
#include "base/timestamp.h"
#include "watch/beneath.h"
#include "watch/events.h"
#include "watch/folders.h"
#include "watch/hints.h"
#include "watch/identity.h"
#include "watch/ignore.h"
#include "watch/path.h"
#include "watch/scan.h"
#include "watch/settle.h"

#include <errno.h>
#include <fcntl.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/inotify.h>
#include <sys/stat.h>
#include <unistd.h>

#define POLL_MS MINUTE_MS           /* between scans where events do not tell everything */
#define MISSING_MS (10 * SECOND_MS) /* between looks for a missing inbox: it costs one open */
#define RETRY_MS (10 * SECOND_MS)   /* after lack of descriptors or memory */
#define STEPS_PER_CALL 256

/* What stands in the way. Kept twice: as known now, and as met by the running scan, which becomes the former
 * at its end. */
struct conditions {
    bool has_limit; /* ENOSPC for a watch */
    int unwatched;  /* another errno for a watch, or 0 */
    bool is_remote;
    char trouble[160]; /* the last thing that could not be read */
};

struct watch {
    char *root;
    struct ignore_list ignore;
    int64_t settle_ms, rescan_ms;
    int inotify, inotify_errno;
    struct folders *folders;
    struct hints *hints;
    struct scan *full, *part; /* the whole tree; what events named, which goes first */
    uint32_t generation;      /* of the last whole scan begun */
    int64_t rescan_at;        /* monotonic */
    struct identity inbox;    /* that the last good scan saw */
    bool has_seen_files;
    bool is_counting;  /* the step belongs to the whole scan */
    char missing[128]; /* why the inbox is missing, "" when it is there */
    struct conditions known, met;
    struct watch_report running, finished; /* counts of whole scans */
    size_t overflows, scans;
};

struct moment {
    int64_t wall, monotonic;
};

enum step { STEP_CANDIDATE, STEP_MORE, STEP_NOTHING };

static enum step take_step(struct watch *watch, struct moment now, bool *has_read, struct candidate *ret,
                           struct error *error);
static struct scan *choose_scan(struct watch *watch, struct moment now);
static enum step look_at_hint(struct watch *watch, const char *path, struct sighting *sighting,
                              struct moment now, struct candidate *ret, struct error *error);
static enum step look_at_scanned(struct watch *watch, struct scan *scan, struct moment now,
                                 struct candidate *ret);
static enum step look(struct watch *watch, int folder, const char *path, struct sighting *sighting,
                      struct moment now, struct candidate *ret);
static struct settle_verdict judge(const struct watch *watch, int folder, const char *path,
                                   const struct sighting *sighting, struct moment now);
static void remember(struct watch *watch, const char *path, struct sighting *sighting,
                     struct settle_verdict verdict, int64_t monotonic);
static enum step read_folder(struct watch *watch, struct scan *scan, struct moment now, struct error *error);
static int open_folder(struct watch *watch, const char *path, bool is_start);
static enum step fail_folder(struct watch *watch, struct scan *scan, const char *path, int64_t monotonic,
                             struct error *error);
static bool meet_inbox(struct watch *watch, int fd, const struct listing *listing, int64_t monotonic);
static void watch_folder(struct watch *watch, const char *path, int fd);
static void count_listing(struct watch *watch, const char *path, const struct listing *listing);
static void finish_scan(struct watch *watch, int64_t monotonic);
static void lose_inbox(struct watch *watch, int64_t monotonic, const char *why);
static int open_inbox(struct watch *watch, bool is_start);
static void note_trouble(struct watch *watch, const char *path, const char *what);
static void note_denial(struct watch *watch, const char *path);
static void plan_scan(struct watch *watch, int64_t monotonic);
static bool is_blind(const struct watch *watch);
static void print_note(const struct watch *watch, char *ret, size_t size);
static bool is_lack(int number);
static bool is_vanished(int number);
static int64_t nanoseconds(struct timespec time);

struct watch *watch_open(const struct watch_settings *settings, struct error *error)
{
    if (!settings->root || !settings->root[0]) {
        fail(error, ERROR_CONFIG,
             "the inbox has no path: name the folder that the crews' files are synced to");
        return NULL;
    }
    if (settings->settle_ms < 0 || settings->rescan_ms <= 0) {
        fail(error, ERROR_CONFIG,
             "the inbox '%s' needs a settling time of 0 or more and a time between scans above 0",
             settings->root);
        return NULL;
    }
    struct watch *watch = x_alloc(sizeof *watch);
    watch->root = x_strdup(settings->root);
    ignore_init(&watch->ignore, settings->ignore, settings->ignore_count);
    watch->settle_ms = settings->settle_ms;
    watch->rescan_ms = settings->rescan_ms;
    watch->inotify = inotify_init1(IN_NONBLOCK | IN_CLOEXEC);
    watch->inotify_errno = watch->inotify < 0 ? errno : 0;
    watch->folders = folders_new(watch->inotify);
    watch->hints = hints_new();
    watch->full = scan_new();
    watch->part = scan_new();
    watch->rescan_at = TIME_FOREVER;
    hints_want_scan(watch->hints);
    return watch;
}

void watch_close(struct watch *watch)
{
    if (!watch)
        return;
    scan_free(watch->full);
    scan_free(watch->part);
    folders_free(watch->folders);
    hints_free(watch->hints);
    cleanup_fd(&watch->inotify);
    ignore_done(&watch->ignore);
    free(watch->root);
    free(watch);
}

int watch_fd(const struct watch *watch)
{
    return watch->inotify;
}

void watch_receive(struct watch *watch, int64_t monotonic)
{
    if (watch->inotify < 0)
        return;
    const struct events events = {
        .inotify = watch->inotify,
        .folders = watch->folders,
        .hints = watch->hints,
        .ignore = &watch->ignore,
    };
    struct events_seen seen = events_receive(&events, monotonic);
    watch->overflows += seen.overflows;
    if (seen.count > 0 && watch->missing[0])
        hints_want_scan(watch->hints);
}

bool watch_next(struct watch *watch, int64_t wall, int64_t monotonic, struct candidate *ret,
                struct error *error)
{
    const struct moment now = {.wall = wall, .monotonic = monotonic};
    bool has_read = false;
    for (int i = 0; i < STEPS_PER_CALL; i++) {
        enum step step = take_step(watch, now, &has_read, ret, error);
        if (step != STEP_MORE)
            return step == STEP_CANDIDATE;
    }
    return false;
}

int watch_open_file(const struct watch *watch, const char *path, struct error *error)
{
    char parent[PATH_MAX];
    CLEANUP(cleanup_fd) int root = open(watch->root, O_PATH | O_DIRECTORY | O_CLOEXEC);
    CLEANUP(cleanup_fd) int folder = root < 0 ? -1 : beneath_open_folder(root, path_parent(path, parent));
    int fd = folder < 0 ? -1 : beneath_open_file(folder, path_base(path));
    if (fd >= 0)
        return fd;
    if (errno == ELOOP || errno == EXDEV)
        fail(error, ERROR_INPUT,
             "'%s' leads through a symbolic link or out of the inbox: put the file itself there", path);
    else if (errno == EINVAL)
        fail(error, ERROR_INPUT, "'%s' is not a regular file", path);
    else if (errno == EACCES)
        fail(error, ERROR_SYSTEM, "'%s' may not be read: give the service's user permission to read it",
             path);
    else
        fail_errno(error, ERROR_SYSTEM, "cannot open '%s' in the inbox", path);
    return -1;
}

void watch_look_again(struct watch *watch, const struct candidate *candidate, int64_t monotonic)
{
    const struct sighting sighting = {.print = {.size = candidate->size,
                                                .modified_ns = candidate->modified_ns,
                                                .changed_ns = candidate->changed_ns,
                                                .inode = candidate->inode,
                                                .device = candidate->device},
                                      .is_known = true}; /* seen since ever: it had settled */
    hints_put_file(watch->hints, candidate->path, &sighting, monotonic);
}

void watch_rescan(struct watch *watch)
{
    hints_want_scan(watch->hints);
}

int64_t watch_deadline(const struct watch *watch)
{
    if (!watch_is_idle(watch))
        return 0;
    int64_t due = hints_next_due(watch->hints);
    return due < watch->rescan_at ? due : watch->rescan_at;
}

bool watch_is_idle(const struct watch *watch)
{
    return !hints_are_pending(watch->hints) && !scan_is_running(watch->part) && !scan_is_running(watch->full);
}

size_t watch_count_waiting(const struct watch *watch)
{
    return hints_count_waiting(watch->hints);
}

void watch_report(const struct watch *watch, struct watch_report *ret)
{
    *ret = watch->scans > 0 ? watch->finished : watch->running;
    ret->folders_watched = folders_count_watched(watch->folders);
    ret->overflows = watch->overflows;
    ret->scans = watch->scans;
    ret->scan_only = watch->inotify < 0;
    ret->inbox_missing = watch->missing[0] != '\0';
    ret->watch_limit_reached = watch->known.has_limit;
    ret->events_unavailable = watch->known.is_remote;
    print_note(watch, ret->note, sizeof ret->note);
}

/* Single files that are due, then folders that events named, then the whole scan. */
static enum step take_step(struct watch *watch, struct moment now, bool *has_read, struct candidate *ret,
                           struct error *error)
{
    char path[PATH_MAX];
    struct sighting sighting;
    watch->is_counting = false;
    if (hints_take_file(watch->hints, now.monotonic, path, &sighting))
        return look_at_hint(watch, path, &sighting, now, ret, error);
    struct scan *scan = choose_scan(watch, now);
    if (!scan)
        return STEP_NOTHING;
    watch->is_counting = scan == watch->full;
    switch (scan_peek(scan)) {
    case SCAN_FILE:
        return look_at_scanned(watch, scan, now, ret);
    case SCAN_FOLDER:
        if (*has_read)
            return STEP_NOTHING;
        *has_read = true;
        return read_folder(watch, scan, now, error);
    case SCAN_END:
        break;
    }
    if (scan == watch->full)
        finish_scan(watch, now.monotonic);
    return STEP_MORE;
}

static struct scan *choose_scan(struct watch *watch, struct moment now)
{
    char path[PATH_MAX];
    if (scan_is_running(watch->part) && scan_peek(watch->part) != SCAN_END)
        return watch->part;
    if (hints_take_folder(watch->hints, path)) {
        scan_start(watch->part, path);
        return watch->part;
    }
    if (scan_is_running(watch->full))
        return watch->full;
    if (!hints_take_scan(watch->hints) && now.monotonic < watch->rescan_at)
        return NULL;
    watch->rescan_at = TIME_FOREVER;
    watch->generation++;
    watch->running = (struct watch_report){.files_seen = 0};
    watch->met = (struct conditions){.has_limit = false};
    scan_start(watch->full, "");
    return watch->full;
}

static enum step look_at_hint(struct watch *watch, const char *path, struct sighting *sighting,
                              struct moment now, struct candidate *ret, struct error *error)
{
    char parent[PATH_MAX];
    CLEANUP(cleanup_fd) int root = open_inbox(watch, false);
    CLEANUP(cleanup_fd) int folder = root < 0 ? -1 : beneath_open_folder(root, path_parent(path, parent));
    if (folder >= 0)
        return look(watch, folder, path, sighting, now, ret);
    if (is_lack(errno)) {
        fail_errno(error, ERROR_SYSTEM, "cannot look at '%s' in the inbox", path);
        if (!hints_put_file(watch->hints, path, sighting, now.monotonic + RETRY_MS))
            plan_scan(watch, now.monotonic + RETRY_MS);
        return STEP_NOTHING;
    }
    if (!is_vanished(errno))
        note_trouble(watch, path, strerror(errno));
    return STEP_MORE;
}

static enum step look_at_scanned(struct watch *watch, struct scan *scan, struct moment now,
                                 struct candidate *ret)
{
    char path[PATH_MAX];
    int folder;
    const char *name;
    struct sighting sighting;
    scan_take(scan, path, &folder, &name);
    hints_recall_file(watch->hints, path, &sighting);
    enum step step = look(watch, folder, path, &sighting, now, ret);
    watch->running.files_seen += step == STEP_CANDIDATE && watch->is_counting;
    return step;
}

static enum step look(struct watch *watch, int folder, const char *path, struct sighting *sighting,
                      struct moment now, struct candidate *ret)
{
    struct stat status;
    bool is_there = fstatat(folder, path_base(path), &status, AT_SYMLINK_NOFOLLOW) == 0;
    if (!is_there && !is_vanished(errno))
        note_denial(watch, path);
    if (!is_there || !S_ISREG(status.st_mode)) {
        hints_drop_file(watch->hints, path);
        return STEP_MORE;
    }
    const struct fingerprint print = {
        .size = status.st_size,
        .modified_ns = nanoseconds(status.st_mtim),
        .changed_ns = nanoseconds(status.st_ctim),
        .inode = status.st_ino,
        .device = status.st_dev,
    };
    sighting_update(sighting, &print, now.monotonic);
    struct settle_verdict verdict = judge(watch, folder, path, sighting, now);
    bool is_ready = verdict.state == SETTLE_READY;
    *ret = (struct candidate){
        .state = is_ready ? CANDIDATE_READY : CANDIDATE_WAITING,
        .reason = settle_reason(verdict.state),
        .ready_at = verdict.state == SETTLE_CHANGING ? now.wall + verdict.wait : TIME_NONE,
        .size = print.size,
        .modified_ns = print.modified_ns,
        .changed_ns = print.changed_ns,
        .inode = print.inode,
        .device = print.device,
        .was_renamed_in = sighting->was_renamed_in,
    };
    memcpy(ret->path, path, strlen(path) + 1);
    remember(watch, path, sighting, verdict, now.monotonic);
    watch->has_seen_files = true;
    return STEP_CANDIDATE;
}

/* Asking for writers opens the file, so it is asked only where the answer decides. */
static struct settle_verdict judge(const struct watch *watch, int folder, const char *path,
                                   const struct sighting *sighting, struct moment now)
{
    struct settle_facts facts = {
        .size = sighting->print.size,
        .changed = sighting->print.changed_ns / 1000000,
        .seen_for = now.monotonic - sighting->since,
        .was_seen_changing = sighting->has_changed,
        .was_renamed_in = sighting->was_renamed_in,
        .is_placeholder = ignore_judge_path(&watch->ignore, path) == NAME_PLACEHOLDER,
        .writer = WRITER_UNKNOWN,
        .tries = sighting->tries,
    };
    struct settle_verdict verdict = settle_judge(&facts, now.wall, watch->settle_ms);
    bool decides =
        verdict.state == SETTLE_READY || (verdict.state == SETTLE_CHANGING && facts.was_renamed_in);
    if (!decides || (watch->known.is_remote && beneath_is_remote(folder)))
        return verdict;
    facts.writer = beneath_probe_writer(folder, path_base(path));
    return settle_judge(&facts, now.wall, watch->settle_ms);
}

/* A rename shortens the wait at the first look only: who still has the file open may write more. */
static void remember(struct watch *watch, const char *path, struct sighting *sighting,
                     struct settle_verdict verdict, int64_t monotonic)
{
    if (verdict.state == SETTLE_READY || verdict.wait == TIME_FOREVER) {
        hints_drop_file(watch->hints, path);
        return;
    }
    sighting->was_renamed_in = false;
    sighting->tries++;
    if (hints_put_file(watch->hints, path, sighting, monotonic + verdict.wait))
        return;
    int64_t least = watch->settle_ms > SECOND_MS ? watch->settle_ms : SECOND_MS; /* no scan after scan */
    plan_scan(watch, monotonic + (verdict.wait > least ? verdict.wait : least));
}

/* The watch is set before the folder is read, so that what arrives in between is seen twice rather than
 * never. */
static enum step read_folder(struct watch *watch, struct scan *scan, struct moment now, struct error *error)
{
    char path[PATH_MAX];
    int none;
    const char *name;
    scan_take(scan, path, &none, &name);
    bool is_start = scan == watch->full && path[0] == '\0';
    int fd = open_folder(watch, path, is_start);
    if (fd < 0)
        return fail_folder(watch, scan, path, now.monotonic, error);
    watch_folder(watch, path, fd);
    struct listing listing;
    listing_read(fd, path, &watch->ignore, &listing);
    if (listing.is_torn)
        note_trouble(watch, path, strerror(errno));
    if (is_start && !meet_inbox(watch, fd, &listing, now.monotonic)) {
        listing_done(&listing);
        close(fd);
        return STEP_MORE;
    }
    count_listing(watch, path, &listing);
    scan_enter(scan, path, fd, &listing);
    return STEP_MORE;
}

static int open_folder(struct watch *watch, const char *path, bool is_start)
{
    CLEANUP(cleanup_fd) int root = open_inbox(watch, is_start);
    if (root < 0)
        return -1;
    if (path_depth(path) <= SCAN_DEPTH_LIMIT)
        return beneath_open_folder(root, path);
    errno = ENAMETOOLONG;
    return -1;
}

static enum step fail_folder(struct watch *watch, struct scan *scan, const char *path, int64_t monotonic,
                             struct error *error)
{
    int number = errno;
    if (is_lack(number)) {
        fail_errno(error, ERROR_SYSTEM, "cannot read the folder '%s' in the inbox", path);
        scan_stop(scan);
        plan_scan(watch, monotonic + RETRY_MS);
        return STEP_NOTHING;
    }
    CLEANUP(cleanup_fd) int root = open_inbox(watch, true);
    if (root < 0 || path[0] == '\0') {
        lose_inbox(watch, monotonic, strerror(root < 0 ? errno : number));
        folders_drop(watch->folders, folders_find(watch->folders, ""));
    } else if (!is_vanished(number)) {
        note_trouble(watch, path, number == ENAMETOOLONG ? "lies too deep" : strerror(number));
    }
    return STEP_MORE;
}

/* A folder that took the place of the inbox and holds nothing is what an unmounted filesystem leaves behind.
 * Its watch stays, to tell when something comes into it. */
static bool meet_inbox(struct watch *watch, int fd, const struct listing *listing, int64_t monotonic)
{
    const struct identity met = identity_of(fd);
    bool is_suspect = watch->missing[0] || !identity_is_same(&met, &watch->inbox);
    if (is_suspect && watch->has_seen_files && listing->files.count == 0 && listing->folders.count == 0) {
        folders_sweep(watch->folders, watch->generation);
        lose_inbox(watch, monotonic, "replaced by an empty folder (is its filesystem mounted?)");
        return false;
    }
    watch->inbox = met;
    watch->missing[0] = '\0';
    return true;
}

static void watch_folder(struct watch *watch, const char *path, int fd)
{
    if (beneath_is_remote(fd))
        watch->known.is_remote = watch->met.is_remote = true;
    if (watch->inotify < 0)
        return;
    struct folder *folder = folders_touch(watch->folders, path, watch->generation);
    folder->had_denials = false;
    if (folders_add_watch(watch->folders, folder, fd))
        return;
    if (errno == ENOSPC)
        watch->known.has_limit = watch->met.has_limit = true;
    else
        watch->known.unwatched = watch->met.unwatched = errno;
}

static void count_listing(struct watch *watch, const char *path, const struct listing *listing)
{
    for (size_t i = 0; i < listing->too_long; i++)
        note_trouble(watch, path, "holds names that make paths too long");
    if (!watch->is_counting)
        return;
    watch->running.ignored += listing->ignored;
    watch->running.special += listing->special;
}

static void finish_scan(struct watch *watch, int64_t monotonic)
{
    folders_sweep(watch->folders, watch->generation);
    watch->finished = watch->running;
    watch->known = watch->met;
    watch->scans++;
    watch->has_seen_files = watch->finished.files_seen > 0;
    bool polls = is_blind(watch) && watch->rescan_ms > POLL_MS;
    plan_scan(watch, monotonic + (polls ? POLL_MS : watch->rescan_ms));
}

/* The identity of the old inbox is kept, and that files were seen in it. */
static void lose_inbox(struct watch *watch, int64_t monotonic, const char *why)
{
    scan_stop(watch->full);
    scan_stop(watch->part);
    snprintf(watch->missing, sizeof watch->missing, "%s", why);
    plan_scan(watch, monotonic + (watch->rescan_ms < MISSING_MS ? watch->rescan_ms : MISSING_MS));
}

/* The configured path is asked each time: it may lead to another folder than before, which only a whole scan
 * can judge. */
static int open_inbox(struct watch *watch, bool is_start)
{
    int root = open(watch->root, O_PATH | O_DIRECTORY | O_CLOEXEC);
    if (is_start || watch->missing[0])
        return root;
    int number = errno;
    const struct identity met = identity_of(root);
    if (!identity_is_same(&met, &watch->inbox) && (root >= 0 || !is_lack(number)))
        hints_want_scan(watch->hints);
    errno = number;
    return root;
}

static void note_trouble(struct watch *watch, const char *path, const char *what)
{
    watch->running.unreadable += watch->is_counting;
    char visible[96];
    text_make_visible(path[0] ? path : ".", visible, sizeof visible);
    snprintf(watch->known.trouble, sizeof watch->known.trouble, "'%s': %s", visible, what);
    memcpy(watch->met.trouble, watch->known.trouble, sizeof watch->met.trouble);
}

/* A folder that lets itself be listed and no more. */
static void note_denial(struct watch *watch, const char *path)
{
    note_trouble(watch, path, strerror(errno));
    char parent[PATH_MAX];
    struct folder *folder = folders_find(watch->folders, path_parent(path, parent));
    if (folder)
        folder->had_denials = true;
}

static void plan_scan(struct watch *watch, int64_t monotonic)
{
    if (monotonic < watch->rescan_at)
        watch->rescan_at = monotonic;
}

static bool is_blind(const struct watch *watch)
{
    return watch->inotify < 0 || watch->known.has_limit || watch->known.unwatched || watch->known.is_remote;
}

static void print_note(const struct watch *watch, char *ret, size_t size)
{
    const struct conditions *known = &watch->known;
    ret[0] = '\0';
    if (watch->missing[0])
        snprintf(ret, size, "the inbox '%.80s' is missing: %s", watch->root, watch->missing);
    else if (watch->inotify < 0)
        snprintf(ret, size, "no inotify (%s): files are found by scans only; raise %s",
                 strerror(watch->inotify_errno), "fs.inotify.max_user_instances");
    else if (known->has_limit)
        snprintf(ret, size, "too many folders to watch: files in some are found by scans only; raise %s",
                 "fs.inotify.max_user_watches");
    else if (known->unwatched)
        snprintf(ret, size, "folders cannot be watched (%s): files in them are found by scans only",
                 strerror(known->unwatched));
    else if (known->trouble[0])
        snprintf(ret, size, "cannot be read: %s", known->trouble);
    else if (known->is_remote)
        snprintf(ret, size, "network or FUSE filesystem: what others put there is found by scans only");
}

/* Ours to lack, and likely to pass. */
static bool is_lack(int number)
{
    return number == EMFILE || number == ENFILE || number == ENOMEM;
}

/* Gone, or something else by now: the ordinary fate of a name between an event and a look. */
static bool is_vanished(int number)
{
    return number == ENOENT || number == ENOTDIR || number == ELOOP || number == ESTALE || number == EXDEV;
}

/* Times that do not fit (after the year 2262) stop at the end of the range. */
static int64_t nanoseconds(struct timespec time)
{
    const int64_t second = 1000000000, last = INT64_MAX / second - 1;
    if (time.tv_sec > last || time.tv_sec < -last)
        return time.tv_sec > 0 ? INT64_MAX : -last * second;
    return time.tv_sec * second + time.tv_nsec;
}
