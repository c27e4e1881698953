/* SPDX-License-Identifier: MIT */
/* A small network and its notices, for tests of what is said and sent. */
#ifndef RILLWARD_TESTS_SUPPORT_EXAMPLE_NOTICE_H
#define RILLWARD_TESTS_SUPPORT_EXAMPLE_NOTICE_H

#include "config/config.h"
#include "model/facts.h"

/* Stations heron-creek and weir-pool, barometer hill; no recipients. Everything in it is static. */
struct config example_config(void);

/* Oxygen below 3 mg/L at heron-creek, still so, learnt 13 hours later; to recipient "desk". */
struct notice example_notice(void);
/* The same when it was over. */
struct notice example_notice_returned(void);
/* No data of weir-pool for 12 days. */
struct notice example_notice_of_silence(void);
/* A drop that cannot be read. */
struct notice example_notice_of_drop(void);
/* Three stations silent, one of them heard again: one message. */
struct notice example_notice_of_group(void);
/* Fourteen alarms in ten minutes, two of high priority, one of them a drop. */
struct notice example_notice_of_flood(void);

#endif
