/* SPDX-License-Identifier: MIT */
#include "service/held.h"

#include "base/memory.h"
#include "base/timestamp.h"

#include <stdlib.h>
#include <string.h>

#define PAUSE_LEAST SECOND_MS
#define PAUSE_MOST (10 * MINUTE_MS)

static size_t find(const struct held *held, const char *path);

int64_t held_add(struct held *held, const char *path, int64_t now, bool *ret_is_new)
{
    size_t k = find(held, path);
    *ret_is_new = k == held->count;
    if (k == HELD_MOST)
        return 0;
    if (*ret_is_new)
        held->list[held->count++] = (struct held_drop){.path = x_strdup(path)};
    struct held_drop *drop = &held->list[k];
    drop->pause = drop->pause == 0 ? PAUSE_LEAST : drop->pause * 2 < PAUSE_MOST ? drop->pause * 2 : PAUSE_MOST;
    drop->until = now + drop->pause;
    return drop->pause;
}

int64_t held_until(const struct held *held, const char *path, int64_t now)
{
    size_t k = find(held, path);
    return k < held->count && now < held->list[k].until ? held->list[k].until : 0;
}

void held_remove(struct held *held, const char *path)
{
    size_t k = find(held, path);
    if (k == held->count)
        return;
    free(held->list[k].path);
    held->list[k] = held->list[--held->count];
}

void held_done(struct held *held)
{
    for (size_t k = 0; k < held->count; k++)
        free(held->list[k].path);
    held->count = 0;
}

static size_t find(const struct held *held, const char *path)
{
    size_t k = 0;
    while (k < held->count && strcmp(held->list[k].path, path) != 0)
        k++;
    return k;
}
