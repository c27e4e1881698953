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
