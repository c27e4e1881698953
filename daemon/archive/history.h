/* SPDX-License-Identifier: MIT */
/* What came and what was published, place by place: the facts that originals and records do not hold themselves.
 *
 * One file in the folder of each station and barometer, and one below network/, beside the manifest and listed in it.
 * From it and the originals a lost database is made again: under which name a drop arrived, when, and in which order,
 * and which revisions readers were told of. Plain CSV: a heading, then one line for each drop, then one for each
 * revision, those by number, these by what was known then and month; no cell is ever quoted, since a drop's path and
 * a revision's changes are percent-encoded (RFC 3986) where a byte is none of [A-Za-z0-9._~/-]. */
#ifndef RILLWARD_ARCHIVE_HISTORY_H
#define RILLWARD_ARCHIVE_HISTORY_H

#include "archive/archive.h"
#include "base/memory.h"

#define HISTORY_NAME "history.csv"

struct history_drop {
    int64_t number, arrived; /* arrived: ms UTC */
    char sha256[SHA256_HEX_SIZE];
    const char *original; /* below the place's folder */
    const char *path;     /* below the inbox, raw bytes */
};

struct history_revision {
    int64_t arrived; /* of the newest drop known then, ms UTC */
    int32_t month;   /* year * 12 + month - 1 */
    int64_t revision;
    int64_t last_time;   /* of the record's last row; TIME_NONE */
    const char *changes; /* what it changed and why: lines of plain text, see changes.h; NULL as "" */
    enum record_state state;
};

struct history {
    struct history_drop *drops;
    size_t drop_count;
    struct history_revision *revisions;
    size_t revision_count;
};

/* stations/<id>/history.csv and its like. Returns ret. */
char *archive_history_path(enum archive_place place, const char *id, char ret[ARCHIVE_PATH_SIZE]);

void history_render(const struct history *history, struct text *ret);

/* Read one back, strictly: exactly what history_render writes, or wrote before revisions told their state and changes
 * (then they are provisional and tell none), or an INPUT error that names the line. All is in the arena. */
bool history_read(const char *bytes, size_t length, struct arena *arena, struct history *ret, struct error *error);

#endif
