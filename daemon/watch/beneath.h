/* SPDX-License-Identifier: MIT */
/* Opening what lies below a folder, whatever somebody who may write there makes of the path: no symbolic link
 * is followed at any step, nothing leads out, no FIFO blocks, no device is opened. Read-only, and without
 * touching access times where the kernel permits it. */
#ifndef RILLWARD_WATCH_BENEATH_H
#define RILLWARD_WATCH_BENEATH_H

#include "watch/settle.h"

#include <stdbool.h>

/* The functions return a descriptor (the caller closes it) or -1 with errno. */

/* The folder `path` ("" is `root` itself) below the folder `root`. ELOOP or ENOTDIR: a link or a file is in
 * the way. */
int beneath_open_folder(int root, const char *path);

/* The regular file `name` in `folder`. ELOOP: a link; EINVAL: not a regular file. */
int beneath_open_file(int folder, const char *name);

/* For kernels without openat2: the same walk step by step. Flags as for open(2). */
int beneath_open_stepwise(int root, const char *path, int flags);

/* Has anybody `name` in `folder`, a regular file a moment ago, open for writing? Takes a read lease and gives
 * it back at once: the kernel refuses one while there is a writer. A writer who opens in between makes the
 * kernel send SIGIO, which ends a process that does not ignore it: the program must ignore SIGIO before it
 * looks at files. */
enum writer_probe beneath_probe_writer(int folder, const char *name);

/* Does the open file or folder `fd` lie on a filesystem that others change behind this kernel's back
 * (network, FUSE)? Their changes give no events, and leases say nothing of their writers. */
bool beneath_is_remote(int fd);

#endif
