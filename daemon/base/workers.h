/* SPDX-License-Identifier: MIT */
/* Threads that run pieces of work which share nothing: a job belongs to its thread from workers_start() until
 * workers_collect() hands it back. All functions are for one thread, the owner's, but those for parts.
 *
 * A job may be made of parts that share nothing either, and offer them to threads that have nothing else to do; what
 * nobody takes, it runs itself. A lone job so keeps all threads busy, and many jobs one each.
 *
 * The threads take no signals, and leave the processor to their owner where both want it. What a job does must not
 * depend on how many threads there are: they finish in any order. */
#ifndef RILLWARD_BASE_WORKERS_H
#define RILLWARD_BASE_WORKERS_H

#include "base/error.h"

#include <stddef.h>

struct workers;

/* `threads` is at least 1. SYSTEM error. */
struct workers *workers_open(size_t threads, struct error *error);
/* Ends the threads. Every job must have been collected. NULL is fine. */
void workers_close(struct workers *workers);

size_t workers_threads(const struct workers *workers);
/* Jobs started and not collected. */
size_t workers_running(const struct workers *workers);
/* Readable while a finished job may be there; nobody but this file reads or writes it. */
int workers_fd(const struct workers *workers);

/* run(job) on one of the threads, in the order of the starts. `job` is not NULL. */
void workers_start(struct workers *workers, void (*run)(void *job), void *job);
/* ---- parts of a job, called by the job ---- */

struct workers_part {
    void (*run)(void *argument); /* set these two; it offers no parts itself */
    void *argument;
    struct workers_part *next; /* the rest is for workers.c */
    enum { PART_OFFERED, PART_TAKEN, PART_DONE } state;
};

/* Any thread without a job may run it from now on, the first offered first. It must stay where it is until it is
 * joined. */
void workers_offer(struct workers *workers, struct workers_part *part);
/* Returns when it has been run: here, if no other thread has taken it. */
void workers_join(struct workers *workers, struct workers_part *part);

/* ---- for the owner ---- */

/* A finished job; NULL: none is finished. */
void *workers_collect(struct workers *workers);
/* The same, waiting for one; NULL: none runs. */
void *workers_wait(struct workers *workers);

#endif
