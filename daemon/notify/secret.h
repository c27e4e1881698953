/* SPDX-License-Identifier: MIT */
/* Secrets, read at the moment of use: a rotated file counts from the next message on, and nothing stays in
 * memory. */
#ifndef RILLWARD_NOTIFY_SECRET_H
#define RILLWARD_NOTIFY_SECRET_H

#include "base/error.h"
#include "config/config.h"

#include <stdbool.h>

#define SECRET_SIZE 1024

/* One line of text; always ended. Wipe it after use: CLEANUP(secret_wipe) struct secret_text password =
 * {0}; */
struct secret_text {
    char bytes[SECRET_SIZE];
};

/* Read `secret`, whose kind is not SECRET_NONE. One line end after the text is cut off; what remains is 1
 * to SECRET_SIZE - 1 bytes without control characters.
 * A file must belong to the user we run as or to root, and be closed to group and others. A credential is
 * a file of that name in $CREDENTIALS_DIRECTORY, which the service manager guards: its mode is not judged.
 * CONFIG error with the cure; the secret itself is never in a message. On failure `ret` is wiped. */
bool secret_read(const struct secret *secret, struct secret_text *ret, struct error *error);
void secret_wipe(struct secret_text *text);

#endif
