/* SPDX-License-Identifier: MIT */
#include "base/error.h"

#include <errno.h>
#include <stdarg.h>
#include <stdio.h>
#include <string.h>

static void cut(struct error *error, int wanted);

bool fail(struct error *error, enum error_kind kind, const char *format, ...)
{
    if (!error)
        return false;
    va_list arguments;
    va_start(arguments, format);
    error->kind = kind;
    int wanted = vsnprintf(error->text, sizeof error->text, format, arguments);
    va_end(arguments);
    cut(error, wanted);
    return false;
}

bool fail_errno(struct error *error, enum error_kind kind, const char *format, ...)
{
    int number = errno;
    if (!error)
        return false;
    va_list arguments;
    va_start(arguments, format);
    char what[sizeof error->text];
    vsnprintf(what, sizeof what, format, arguments);
    va_end(arguments);
    error->kind = kind;
    cut(error, snprintf(error->text, sizeof error->text, "%s: %s", what, strerror(number)));
    return false;
}

bool within(struct error *error, const char *format, ...)
{
    if (!error)
        return false;
    char inner[sizeof error->text];
    memcpy(inner, error->text, sizeof inner);
    va_list arguments;
    va_start(arguments, format);
    int wanted = vsnprintf(error->text, sizeof error->text, format, arguments);
    va_end(arguments);
    if (wanted < 0)
        wanted = 0;
    size_t used = strlen(error->text);
    cut(error, (int)used + snprintf(error->text + used, sizeof error->text - used, ": %s", inner));
    return false;
}

static void cut(struct error *error, int wanted)
{
    if (wanted < 0 || (size_t)wanted < sizeof error->text)
        return;
    memcpy(error->text + sizeof error->text - 4, "...", 4);
}
