/* SPDX-License-Identifier: MIT */
#include "service/publish_network.h"

#include "alarms/gather.h"
#include "archive/about.h"
#include "archive/manifest.h"
#include "archive/network_json.h"
#include "archive/page.h"
#include "base/timestamp.h"
#include "service/batch.h"
#include "service/figures.h"
#include "service/network_views.h"
#include "service/publish_history.h"
#include "service/publish_years.h"

#include <string.h>

enum { MOST_NEWS = 100 }; /* entries of the feed */

/* A file that tells of each station: perhaps a worker's from offering to joining. */
struct drawing {
    const struct page_network *network;
    struct archive_file file;
    struct workers_part part;
};

static bool render_top(struct pipeline *p, struct workers *workers, struct batch_of_files *batch,
                       struct page_network *ret, struct error *error);
static bool render_small(struct pipeline *p, const struct page_network *network, const struct history *history,
                         struct batch_of_files *batch, struct error *error);
static void draw_json(void *argument);
static bool render_figures(struct pipeline *p, const struct alarm *open, size_t open_count,
                           struct batch_of_files *batch, struct error *error);
static bool load_front_page(struct pipeline *p, struct page_network *network, struct error *error);
static bool mark_pageless(struct pipeline *p, const struct page_network *network, struct error *error);
static bool load_news(struct pipeline *p, struct page_network *network, struct error *error);

bool publish_network(struct pipeline *p, struct workers *workers, struct error *error)
{
    struct batch_of_files batch = {0};
    struct page_network network;
    bool ok = render_top(p, workers, &batch, &network, error) && batch_write(p, &batch, error) &&
              store_begin(p->store, __func__, error) && batch_put_facts(p, &batch, error) &&
              store_manifest_done(p->store, 0, error) && mark_pageless(p, &network, error) &&
              store_commit(p->store, error);
    if (!ok)
        store_rollback(p->store);
    batch_done(&batch);
    return ok || within(error, "publishing the network's files");
}

/* The front page and what it stands on, and the manifest over these and all manifests. */
static bool render_top(struct pipeline *p, struct workers *workers, struct batch_of_files *batch,
                       struct page_network *ret, struct error *error)
{
    struct network_view *view = arena_alloc(p->arena, sizeof *view);
    struct alarm *alarms;
    struct history history;
    *view = (struct network_view){.config = p->config, .station_count = p->config->station_count};
    *ret = (struct page_network){.view = view};
    if (!store_alarms_open(p->store, p->arena, &alarms, &ret->alarm_count, error) ||
        !network_views_refresh(p, alarms, ret->alarm_count, &view->stations, &ret->has_page, error))
        return false;
    ret->alarms = alarms;
    if (!load_front_page(p, ret, error) || !publish_history_load(p, 0, ARCHIVE_NETWORK, "", &history, error))
        return false;
    /* Workers leave the processor to others, and this thread has to wait for what it gave away: so only one of them. */
    struct drawing json = {.network = ret, .part = {.run = draw_json, .argument = &json}};
    archive_file_init(&json.file, "network.json");
    workers_offer(workers, &json.part);
    struct archive_file page;
    archive_file_init(&page, "index.html");
    page_network_render(ret, &page.content);
    archive_file_sha256(&page);
    bool ok = render_small(p, ret, &history, batch, error);
    struct file_fact *stand;
    size_t n;
    ok = ok && store_files_load(p->store, 0, p->arena, &stand, &n, error);
    workers_join(workers, &json.part);
    *batch_add(batch, json.file.path, 0) = json.file;
    *batch_add(batch, page.path, 0) = page; /* behind what it links to */
    if (ok)
        batch_list(batch, stand, n, MANIFEST_NAME, &batch_add(batch, MANIFEST_NAME, 0)->content);
    return ok;
}

/* All but the two that tell of each station. */
static bool render_small(struct pipeline *p, const struct page_network *network, const struct history *history,
                         struct batch_of_files *batch, struct error *error)
{
    char path[ARCHIVE_PATH_SIZE];
    if (history->drop_count > 0)
        history_render(history, &batch_add(batch, archive_history_path(ARCHIVE_NETWORK, "", path), 0)->content);
    page_style_render(&batch_add(batch, PAGE_STYLE_PATH, 0)->content);
    page_script_render(&batch_add(batch, PAGE_SCRIPT_PATH, 0)->content);
    network_json_render_schema(&batch_add(batch, "network.schema.json", 0)->content);
    about_render(p->config, &batch_add(batch, "about.txt", 0)->content);
    page_feed_render(network, &batch_add(batch, PAGE_FEED_PATH, 0)->content);
    return render_figures(p, network->alarms, network->alarm_count, batch, error);
}

static void draw_json(void *argument)
{
    struct drawing *drawing = argument;
    network_json_render(drawing->network->view, &drawing->file.content);
    archive_file_sha256(&drawing->file);
}

static bool render_figures(struct pipeline *p, const struct alarm *open, size_t open_count,
                           struct batch_of_files *batch, struct error *error)
{
    const struct config *config = p->config;
    struct page_recipient *recipients = arena_array(p->arena, config->recipient_count + 1, sizeof *recipients);
    const struct page_figures figures = {
        .config = config,
        .days = FIGURES_DAYS,
        .utc_offset = config->station_count > 0 ? config->stations[0].utc_offset : 0,
        .recipients = recipients,
        .recipient_count = config->recipient_count,
        .a_day_acceptable = ALARMS_A_DAY_ACCEPTABLE,
        .in_10_min_acceptable = FLOOD_BEGINS,
        .standing_below = ALARMS_STANDING_BELOW,
    };
    for (size_t k = 0; k < config->recipient_count; k++)
        if (!figures_load_month(config, p->store, p->arena, config->recipients[k].id, open, open_count,
                                figures.utc_offset, &recipients[k], error))
            return false;
    page_alarms_render(&figures, &batch_add(batch, PAGE_ALARMS_PATH, 0)->content);
    return true;
}

static bool load_front_page(struct pipeline *p, struct page_network *network, struct error *error)
{
    const struct config *config = p->config;
    struct page_barometer *barometers = arena_array(p->arena, config->barometer_count + 1, sizeof *barometers);
    for (size_t i = 0; i < config->barometer_count; i++) {
        struct place_fact fact;
        if (!store_place_find(p->store, config->barometers[i].id, p->arena, &fact, error))
            return false;
        barometers[i] = (struct page_barometer){&config->barometers[i], fact.number ? fact.last_time : TIME_NONE};
    }
    network->barometers = barometers;
    network->barometer_count = config->barometer_count;
    return load_news(p, network, error);
}

/* Stations with data get a page also where nothing changes them: the archive may be older than its pages. */
static bool mark_pageless(struct pipeline *p, const struct page_network *network, struct error *error)
{
    for (size_t i = 0; i < network->view->station_count; i++)
        if (!network->has_page[i] && network->view->stations[i].last != TIME_NONE &&
            !store_manifest_due(p->store, p->station_places[i], error))
            return false;
    return true;
}

static bool load_news(struct pipeline *p, struct page_network *network, struct error *error)
{
    struct revision_fact *facts;
    size_t n;
    if (!store_revisions_newest(p->store, MOST_NEWS, p->arena, &facts, &n, error))
        return false;
    struct page_revision *list = arena_array(p->arena, n + 1, sizeof *list);
    for (size_t k = 0; k < n; k++) {
        size_t station = pipeline_station_of(p, facts[k].place);
        if (station == p->config->station_count || !network->has_page[station])
            continue; /* configured no more, or told when its page stands */
        char path[ARCHIVE_PATH_SIZE];
        bool stands, has_year = false;
        int year = facts[k].month / 12, month = facts[k].month % 12 + 1;
        archive_month_path(p->config->stations[station].id, year, month, ".csv", path);
        if (!batch_is_known(p, path, &stands, error))
            return false;
        char year_path[ARCHIVE_PATH_SIZE];
        if (p->config->netcdf_year_begins > 0 &&
            !batch_is_known(p,
                            publish_years_path(p->config, p->config->stations[station].id, facts[k].month, year_path),
                            &has_year, error))
            return false;
        list[network->revision_count++] =
            (struct page_revision){.station = &p->config->stations[station],
                                   .year = year,
                                   .month = month,
                                   .revision = facts[k].revision,
                                   .last_time = facts[k].last_time,
                                   .arrived = facts[k].arrived,
                                   .changes = facts[k].changes,
                                   .state = facts[k].state,
                                   .path = stands ? arena_strdup(p->arena, path) : NULL,
                                   .year_path = has_year ? arena_strdup(p->arena, year_path) : NULL};
    }
    network->revisions = list;
    return true;
}
