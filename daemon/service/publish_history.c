/* SPDX-License-Identifier: MIT */
#include "service/publish_history.h"

#include <string.h>

bool publish_history_load(struct pipeline *p, uint32_t place, enum archive_place kind, const char *id,
                          struct history *ret, struct error *error)
{
    struct drop_fact_row *drops;
    struct revision_fact *revisions;
    *ret = (struct history){0};
    if (!store_drops_of_place(p->store, place, p->arena, &drops, &ret->drop_count, error) ||
        !store_revisions_of_place(p->store, place, p->arena, &revisions, &ret->revision_count, error))
        return false;
    if (ret->drop_count == 0)
        return true;
    char path[ARCHIVE_PATH_SIZE];
    archive_history_path(kind, id, path);
    size_t folder = (size_t)(strrchr(path, '/') - path) + 1;
    ret->drops = arena_array(p->arena, ret->drop_count, sizeof *ret->drops);
    ret->revisions = arena_array(p->arena, ret->revision_count + 1, sizeof *ret->revisions);
    for (size_t k = 0; k < ret->drop_count; k++) {
        struct history_drop *drop = &ret->drops[k];
        *drop = (struct history_drop){.number = drops[k].number,
                                      .arrived = drops[k].arrived,
                                      .original = drops[k].original + folder,
                                      .path = drops[k].path};
        memcpy(drop->sha256, drops[k].sha256, SHA256_HEX_SIZE);
    }
    for (size_t k = 0; k < ret->revision_count; k++)
        ret->revisions[k] =
            (struct history_revision){revisions[k].arrived,   revisions[k].month,   revisions[k].revision,
                                      revisions[k].last_time, revisions[k].changes, revisions[k].state};
    return true;
}
