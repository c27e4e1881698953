/* SPDX-License-Identifier: MIT */
#include "service/retry_command.h"

#include "service/wake.h"
#include "store/store.h"

static bool retry(struct store *store, char *const *paths, int path_count, int64_t *ret_count, struct error *error);

bool retry_command_run(const struct config *config, char *const *paths, int path_count, struct text *ret,
                       struct error *error)
{
    int64_t count = 0, left_alone[UNFINISHED_KIND_COUNT] = {0};
    struct store *store = store_open_to_answer(config->state, error);
    bool ok = store && retry(store, paths, path_count, &count, error) &&
              (path_count > 0 || store_unfinished_retry(store, 0, left_alone, error)); /* whatever the settings were */
    const int64_t spans = left_alone[UNFINISHED_SPAN], places = left_alone[UNFINISHED_RECORDS];
    store_close(store);
    if (count + spans + places > 0)
        wake_ring(config->state);
    if (ok)
        text_printf(ret, "%lld drops are looked at again%s\n", (long long)count,
                    count > 0 ? ", at once by a running service, else at its start" : ": none is set aside");
    if (ok && spans > 0)
        text_printf(ret, "%lld spans are derived again\n", (long long)spans);
    if (ok && places > 0)
        text_printf(ret, "records of %lld places that were left alone are written again\n", (long long)places);
    return ok;
}

static bool retry(struct store *store, char *const *paths, int path_count, int64_t *ret_count, struct error *error)
{
    if (path_count == 0)
        return store_paths_retry(store, NULL, ret_count, error);
    for (int i = 0; i < path_count; i++) {
        int64_t count;
        if (!store_paths_retry(store, paths[i], &count, error))
            return false;
        if (count == 0)
            return fail(error, ERROR_INPUT, "'%s' is not set aside: 'rillward status' lists what is", paths[i]);
        *ret_count += count;
    }
    return true;
}
