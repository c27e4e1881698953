/* SPDX-License-Identifier: MIT */
#include "base/workers.h"

#include "base/memory.h"

#include <criterion/criterion.h>
#include <poll.h>
#include <pthread.h>
#include <signal.h>
#include <stdlib.h>

enum { JOBS = 500 };

struct sum {
    int n;
    long result;
    bool takes_signals;
};

static void add_up(void *argument)
{
    struct sum *sum = argument;
    sigset_t blocked;
    for (int k = 1; k <= sum->n; k++)
        sum->result += k;
    pthread_sigmask(SIG_SETMASK, NULL, &blocked);
    sum->takes_signals = !sigismember(&blocked, SIGTERM);
}

static struct workers *open_workers(size_t threads)
{
    struct error error;
    struct workers *workers = workers_open(threads, &error);
    cr_assert_not_null(workers, "%s", error.text);
    return workers;
}

static void run_all(size_t threads)
{
    struct workers *workers = open_workers(threads);
    struct sum *sums = x_array(JOBS, sizeof *sums);
    for (int k = 0; k < JOBS; k++) {
        sums[k].n = k;
        workers_start(workers, add_up, &sums[k]);
    }
    cr_expect_eq(workers_running(workers), JOBS);
    size_t collected = 0;
    while (workers_wait(workers))
        collected++;
    cr_expect_eq(collected, JOBS);
    cr_expect_eq(workers_running(workers), 0);
    for (int k = 0; k < JOBS; k++) {
        cr_expect_eq(sums[k].result, (long)k * (k + 1) / 2, "job %d", k);
        cr_expect_not(sums[k].takes_signals);
    }
    workers_close(workers);
    free(sums);
}

Test(workers, every_job_is_run_once_by_one_thread)
{
    run_all(1);
}

Test(workers, every_job_is_run_once_by_several_threads)
{
    run_all(4);
}

enum { PARTS = 6 };

/* A job of parts: each adds up on its own. */
struct whole {
    struct workers *workers;
    struct workers_part parts[PARTS];
    struct sum sums[PARTS];
    long result;
};

static void add_up_in_parts(void *argument)
{
    struct whole *whole = argument;
    for (int k = 0; k < PARTS; k++) {
        whole->sums[k] = (struct sum){.n = 1000 * (k + 1)};
        whole->parts[k] = (struct workers_part){.run = add_up, .argument = &whole->sums[k]};
        workers_offer(whole->workers, &whole->parts[k]);
    }
    for (int k = PARTS; k > 0; k--) {
        workers_join(whole->workers, &whole->parts[k - 1]);
        whole->result += whole->sums[k - 1].result;
    }
}

static void run_wholes(size_t threads, size_t jobs)
{
    struct workers *workers = open_workers(threads);
    struct whole *wholes = x_array(jobs, sizeof *wholes);
    for (size_t k = 0; k < jobs; k++) {
        wholes[k].workers = workers;
        workers_start(workers, add_up_in_parts, &wholes[k]);
    }
    while (workers_wait(workers))
        ;
    for (size_t k = 0; k < jobs; k++)
        cr_expect_eq(wholes[k].result, 500500 + 2001000 + 4501500 + 8002000 + 12502500 + 18003000, "job %zu", k);
    workers_close(workers);
    free(wholes);
}

Test(workers, a_job_runs_the_parts_that_nobody_takes)
{
    run_wholes(1, 20);
}

Test(workers, parts_are_run_once_whoever_takes_them)
{
    run_wholes(4, 1);
    run_wholes(3, 200);
}

/* Both parts wait for each other, so they end only if two threads run them. */
struct meeting {
    struct workers *workers;
    pthread_barrier_t barrier;
    struct workers_part parts[2];
};

static void meet(void *argument)
{
    pthread_barrier_wait(argument);
}

static void hold_meeting(void *argument)
{
    struct meeting *meeting = argument;
    for (int k = 0; k < 2; k++) {
        meeting->parts[k] = (struct workers_part){.run = meet, .argument = &meeting->barrier};
        workers_offer(meeting->workers, &meeting->parts[k]);
    }
    workers_join(meeting->workers, &meeting->parts[1]);
    workers_join(meeting->workers, &meeting->parts[0]);
}

Test(workers, a_thread_without_a_job_takes_a_part_of_another_s, .timeout = 60)
{
    struct meeting meeting = {.workers = open_workers(2)};
    pthread_barrier_init(&meeting.barrier, NULL, 2);
    workers_start(meeting.workers, hold_meeting, &meeting);
    cr_expect_eq(workers_wait(meeting.workers), &meeting);
    workers_close(meeting.workers);
    pthread_barrier_destroy(&meeting.barrier);
}

Test(workers, the_descriptor_says_that_a_job_is_finished_until_it_is_collected)
{
    struct workers *workers = open_workers(2);
    struct sum first = {.n = 10}, second = {.n = 20};
    struct pollfd wait = {.fd = workers_fd(workers), .events = POLLIN};
    cr_expect_null(workers_collect(workers));
    cr_expect_eq(poll(&wait, 1, 0), 0);
    workers_start(workers, add_up, &first);
    workers_start(workers, add_up, &second);
    for (int k = 0; k < 2; k++) {
        struct sum *done = NULL;
        while (!done) {
            cr_assert_eq(poll(&wait, 1, -1), 1);
            done = workers_collect(workers);
        }
        cr_expect(done == &first || done == &second);
    }
    cr_expect_null(workers_collect(workers));
    cr_expect_eq(poll(&wait, 1, 0), 0);
    workers_close(workers);
}

Test(workers, threads_that_were_never_used_end)
{
    struct workers *workers = open_workers(3);
    cr_expect_eq(workers_threads(workers), 3);
    cr_expect_null(workers_wait(workers));
    workers_close(workers);
    workers_close(NULL);
}
