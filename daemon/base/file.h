/* SPDX-License-Identifier: MIT */
/* Files that appear whole, folders that are there, and fingerprints of bytes. */
#ifndef RILLWARD_BASE_FILE_H
#define RILLWARD_BASE_FILE_H

#include "base/error.h"
#include "base/sync.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#define SHA256_HEX_SIZE 65 /* 64 digits and the end */

/* Whole file into memory (free() it; a NUL follows the last byte). More than `limit` bytes is an INPUT error;
 * what cannot be opened or read is a SYSTEM error. */
bool file_read(const char *path, size_t limit, char **ret_bytes, size_t *ret_length, struct error *error);
/* The same from an open descriptor, from its start. */
bool file_read_fd(int fd, const char *name, size_t limit, char **ret_bytes, size_t *ret_length, struct error *error);

/* Durable and whole: written beside the target under a temporary name (".rillward-" in front), fsync, rename, fsync of
 * the folder. Readers see the old file or the new one. Mode 0644 less the umask. SYSTEM error; the temporary is
 * removed. */
bool file_write_whole(const char *path, const void *bytes, size_t length, struct error *error);

/* The steps of the above, so that many files share one wait for the disk: write each, sync all, put each in place, sync
 * their folders. What was begun and not put in place is to be dropped. Start from {0}. */
struct file_fresh {
    char *temporary; /* its name, on the heap; NULL: nothing is there */
    int fd;          /* open from writing to syncing */
};
bool file_fresh_write(struct file_fresh *fresh, const char *path, const void *bytes, size_t length,
                      struct error *error);
bool file_fresh_sync(struct file_fresh *fresh, size_t n, struct error *error); /* n <= SYNC_MOST; {0} among them are fine */
bool file_fresh_place(struct file_fresh *fresh, const char *path, struct error *error);
void file_fresh_drop(struct file_fresh *fresh); /* {0} is fine */
bool file_sync_folder(const char *path, struct error *error);
/* fsync of the folders that these files stand in, each once, many at once. */
bool file_sync_folders_of(const char *const *paths, size_t n, struct error *error);

/* mkdir -p; each new folder's parent is fsynced. */
bool file_make_folders(const char *path, struct error *error);
bool file_make_folders_of(const char *path, struct error *error); /* that the file `path` is to stand in */
bool file_exists(const char *path);
/* Remove temporaries that a killed process left in a folder tree; returns how many. */
size_t file_remove_leftovers(const char *folder);

void sha256_hex(const void *bytes, size_t length, char ret[SHA256_HEX_SIZE]);
/* Of a file, streaming. */
bool file_sha256(const char *path, char ret[SHA256_HEX_SIZE], struct error *error);

/* For CLEANUP(): closes fd >= 0. */
void cleanup_fd(int *fd);

#endif
