/* SPDX-License-Identifier: MIT */
/* The archive: where each file stands, which formats a station-month is written in, and how files get there.
 *
 * All paths are relative to the archive's root, below PATH_MAX together with it, and made of [A-Za-z0-9._-]
 * and '/'. A new format is one file with its render function and one row in the table of archive.c. */
#ifndef RILLWARD_ARCHIVE_ARCHIVE_H
#define RILLWARD_ARCHIVE_ARCHIVE_H

#include "archive/dataset.h"
#include "base/error.h"
#include "base/file.h"
#include "base/text.h"

#include <stdbool.h>
#include <stddef.h>

#define ARCHIVE_PATH_SIZE 320
#define ARCHIVE_FILE_LIMIT ((size_t)1 << 30) /* bytes of one rendered file */

/* ---- Where ---- */

enum archive_place {
    ARCHIVE_STATION,
    ARCHIVE_BAROMETER,
    ARCHIVE_NETWORK, /* notes of several stations; the id is not used */
};

/* stations/<station>/<yyyy>/<station>_<yyyy-mm><extension>, extension with its dot. Returns ret. */
char *archive_month_path(const char *station, int year, int month, const char *extension, char ret[ARCHIVE_PATH_SIZE]);

/* stations/<station>/<station>_<yyyy>.nc, or _water-year-<yyyy>.nc by the year in which it ends, of the year that
 * begins with this month. Returns ret. */
char *archive_year_path(const char *station, int first_year, int first_month, char ret[ARCHIVE_PATH_SIZE]);

/* stations/<station>/<yyyy>/revisions/<yyyy-mm>_r<revision>/ and the name that the file had as the month's record, so
 * that files which name each other go on doing so. Returns ret. */
char *archive_revision_path(const char *station, int year, int month, int64_t revision, const char *extension,
                            char ret[ARCHIVE_PATH_SIZE]);
/* Whether the path, below the archive, is one of those, of any station; then of which month (year * 12 + month - 1) and
 * revision. */
bool archive_revision_of(const char *path, int32_t *ret_month, int64_t *ret_revision);

/* stations/<id>/originals/<16 digits of sha256>_<name>, and the same below barometers/<id> and network.
 * `name` is the path under which the drop arrived; its last part is kept, other bytes than [A-Za-z0-9._-]
 * become '_', and of more than 80 the last 80 stay. Returns ret. */
char *archive_original_path(enum archive_place place, const char *id, const char *sha256, const char *name,
                            char ret[ARCHIVE_PATH_SIZE]);

/* stations/<id>/manifest-sha256.txt and its like; the top one is MANIFEST_NAME itself. Returns ret. */
char *archive_manifest_path(enum archive_place place, const char *id, char ret[ARCHIVE_PATH_SIZE]);

/* ---- What ---- */

struct archive_writer {
    const char *extension;      /* with its dot */
    const char *label;          /* for links to it */
    bool is_record;             /* its content is the record's: a change makes a new revision; a picture's does not */
    enum archive_format format; /* the word of the settings that asks for it */
    void (*render)(const struct dataset *dataset, struct text *ret); /* to an empty text */
};
#define ARCHIVE_WRITERS_MAX 16

/* All files of a station-month that there can be, in a fixed order: records first. */
const struct archive_writer *archive_writers(size_t *ret_count);
/* Those that the settings ask for, in the same order; returns how many. */
size_t archive_writers_wanted(const struct config *config, const struct archive_writer *ret[ARCHIVE_WRITERS_MAX]);

/* ---- How ---- */

struct archive_file {
    char path[ARCHIVE_PATH_SIZE];
    struct text content;                /* owned: archive_file_done() */
    char known_sha256[SHA256_HEX_SIZE]; /* of what we wrote there last; "" where not known */
    char sha256[SHA256_HEX_SIZE];       /* out: of content; "" before archive_file_sha256() */
    bool unchanged;                     /* out: was there already, not written again */
};
/* Empty content with the limit above, nothing known. */
void archive_file_init(struct archive_file *file, const char *path);
void archive_file_done(struct archive_file *file);
/* file->sha256, of the content as it stands when this is first asked. */
const char *archive_file_sha256(struct archive_file *file);

/* The files of one month that the settings ask for, files[i] by archive_writers_wanted()[i]: empty, with their paths.
 * Each is then drawn up by its writer's render(), in any order and by any thread: nothing fails there, and content
 * without room is told by archive_write_files(). */
void archive_files_init(const struct dataset *dataset, struct archive_file *files);
/* The same, and all of them drawn up. */
void archive_render_month(const struct dataset *dataset, struct archive_file *files);

/* Put files in place, whole and durable, in the given order: a manifest belongs after what it lists; no path
 * twice. Skips a file whose content is the known one where a file of that size is there. Everything is on
 * disk under a temporary name before the first file is replaced, so a full disk or a missing permission
 * leaves all old files as they were; each folder is waited for once. SYSTEM error; content that ran into its
 * limit is an INPUT error. */
bool archive_write_files(const char *root, struct archive_file *files, size_t n, struct error *error);

#endif
