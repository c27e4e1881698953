/* SPDX-License-Identifier: MIT */
/* A store of its own in a temporary folder, under settings given as text. */
#ifndef RILLWARD_TESTS_SERVICE_FIXTURE_H
#define RILLWARD_TESTS_SERVICE_FIXTURE_H

#include "service/tell.h"

struct fixture {
    char folder[64];
    struct config *config;
    struct store *store;
    struct arena *arena;
    struct teller teller;
};

/* Stations heron-creek and weir-pool (UTC-8), barometers hill, quay, mast; recipients desk (mail) and on-call
 * (webhook). `more` is put behind that: rules, alarms. */
struct fixture fixture_open(const char *more);
void fixture_close(struct fixture *fixture);

/* 2026-04-20T00:00:00Z and so many hours. */
int64_t hours_on(double hours);

/* An alarm that was just raised and told, open since an hour, in a transaction of its own. */
struct alarm fixture_raise(struct fixture *fixture, const char *station, const char *rule, int64_t now);
struct alarm fixture_alarm(struct fixture *fixture, int64_t id);
/* Notices of the alarm as "desk raised, on-call raised". */
const char *fixture_notices(struct fixture *fixture, int64_t alarm);
/* Steps as "rillward raised; anna acknowledged". */
const char *fixture_steps(struct fixture *fixture, int64_t alarm);

#endif
