/* SPDX-License-Identifier: MIT */
#include "config/path.h"

#include <string.h>

const char *path_absolute(struct arena *arena, const char *folder, const char *path)
{
    const char *from = path[0] == '/' ? path : arena_printf(arena, "%s/%s", folder, path);
    char *ret = arena_alloc(arena, strlen(from) + 2);
    size_t length = 0;
    while (*from) {
        from += strspn(from, "/");
        size_t part = strcspn(from, "/");
        if (part == 2 && memcmp(from, "..", 2) == 0) {
            while (length > 0 && ret[--length] != '/') {
            }
        } else if (part > 0 && !(part == 1 && *from == '.')) {
            ret[length++] = '/';
            memcpy(ret + length, from, part);
            length += part;
        }
        from += part;
    }
    if (length == 0)
        ret[length++] = '/';
    ret[length] = '\0';
    return ret;
}

const char *path_folder(struct arena *arena, const char *path)
{
    const char *slash = strrchr(path, '/');
    return arena_strndup(arena, path, slash ? (size_t)(slash - path) + 1 : 0);
}

bool path_is_inside(const char *path, const char *folder)
{
    size_t length = strlen(folder);
    if (strcmp(folder, "/") == 0)
        return true;
    return strncmp(path, folder, length) == 0 && (path[length] == '/' || path[length] == '\0');
}
