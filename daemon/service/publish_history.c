/* SPDX-License-Identifier: MIT */
#include "service/publish_history.h"

#include "archive/history.h"

#include <string.h>

bool publish_history(struct pipeline *p, uint32_t place, enum archive_place kind, const char *id,
                     struct batch_of_files *batch, struct error *error)
{
    struct drop_fact_row *drops;
    struct revision_fact *revisions;
    struct history history = {0};
    if (!store_drops_of_place(p->store, place, p->arena, &drops, &history.drop_count, error) ||
        !store_revisions_of_place(p->store, place, p->arena, &revisions, &history.revision_count, error))
        return false;
    if (history.drop_count == 0)
        return true;
    char path[ARCHIVE_PATH_SIZE];
    archive_history_path(kind, id, path);
    size_t folder = (size_t)(strrchr(path, '/') - path) + 1;
    history.drops = arena_array(p->arena, history.drop_count, sizeof *history.drops);
    history.revisions = arena_array(p->arena, history.revision_count + 1, sizeof *history.revisions);
    for (size_t k = 0; k < history.drop_count; k++) {
        struct history_drop *drop = &history.drops[k];
        *drop = (struct history_drop){.number = drops[k].number,
                                      .arrived = drops[k].arrived,
                                      .original = drops[k].original + folder,
                                      .path = drops[k].path};
        memcpy(drop->sha256, drops[k].sha256, SHA256_HEX_SIZE);
    }
    for (size_t k = 0; k < history.revision_count; k++)
        history.revisions[k] =
            (struct history_revision){revisions[k].arrived,   revisions[k].month,   revisions[k].revision,
                                      revisions[k].last_time, revisions[k].changes, revisions[k].state};
    history_render(&history, &batch_add(batch, path, place)->content);
    return true;
}
