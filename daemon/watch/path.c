/* SPDX-License-Identifier: MIT */
#include "watch/path.h"

#include <string.h>

const char *path_base(const char *path)
{
    const char *slash = strrchr(path, '/');
    return slash ? slash + 1 : path;
}

const char *path_parent(const char *path, char ret[PATH_MAX])
{
    const char *slash = strrchr(path, '/');
    size_t length = slash ? (size_t)(slash - path) : 0;
    if (length >= PATH_MAX)
        length = PATH_MAX - 1;
    memcpy(ret, path, length);
    ret[length] = '\0';
    return ret;
}

size_t path_depth(const char *path)
{
    size_t depth = path[0] != '\0';
    for (const char *c = path; *c; c++)
        depth += *c == '/';
    return depth;
}
