/* SPDX-License-Identifier: MIT */
#include "base/workers.h"

#include "base/memory.h"

#include <assert.h>
#include <poll.h>
#include <pthread.h>
#include <signal.h>
#include <stdlib.h>
#include <sys/eventfd.h>
#include <sys/resource.h>
#include <unistd.h>

enum {
    STACK_SIZE = 1024 * 1024,
    NICENESS = 5,
};

struct piece {
    struct piece *next;
    void (*run)(void *job);
    void *job;
};

struct queue {
    struct piece *first, *last;
};

struct workers {
    pthread_t *threads;
    size_t count, running;
    int fd; /* eventfd */

    pthread_mutex_t lock; /* of all below */
    pthread_cond_t more, part_done;
    struct queue waiting, done;
    struct workers_part *parts; /* offered and not taken, the first first */
    bool is_closing;
};

static bool start_threads(struct workers *workers, size_t threads, struct error *error);
static void *run_thread(void *argument);
static struct piece *take_waiting(struct workers *workers);
static void run_part(struct workers *workers, struct workers_part *part);
static void withdraw(struct workers *workers, const struct workers_part *part);
static void put(struct queue *queue, struct piece *piece);
static struct piece *take(struct queue *queue);

struct workers *workers_open(size_t threads, struct error *error)
{
    assert(threads > 0);
    int fd = eventfd(0, EFD_CLOEXEC | EFD_NONBLOCK);
    if (fd < 0) {
        fail_errno(error, ERROR_SYSTEM, "cannot make a descriptor for the worker threads");
        return NULL;
    }
    struct workers *workers = x_alloc(sizeof *workers);
    workers->fd = fd;
    workers->threads = x_array(threads, sizeof *workers->threads);
    pthread_mutex_init(&workers->lock, NULL);
    pthread_cond_init(&workers->more, NULL);
    pthread_cond_init(&workers->part_done, NULL);
    if (start_threads(workers, threads, error))
        return workers;
    workers_close(workers);
    return NULL;
}

void workers_close(struct workers *workers)
{
    if (!workers)
        return;
    assert(workers->running == 0);
    pthread_mutex_lock(&workers->lock);
    workers->is_closing = true;
    pthread_cond_broadcast(&workers->more);
    pthread_mutex_unlock(&workers->lock);
    for (size_t k = 0; k < workers->count; k++)
        pthread_join(workers->threads[k], NULL);
    pthread_cond_destroy(&workers->more);
    pthread_cond_destroy(&workers->part_done);
    pthread_mutex_destroy(&workers->lock);
    close(workers->fd);
    free(workers->threads);
    free(workers);
}

size_t workers_threads(const struct workers *workers)
{
    return workers->count;
}

size_t workers_running(const struct workers *workers)
{
    return workers->running;
}

int workers_fd(const struct workers *workers)
{
    return workers->fd;
}

void workers_start(struct workers *workers, void (*run)(void *job), void *job)
{
    assert(job);
    struct piece *piece = x_alloc(sizeof *piece);
    *piece = (struct piece){.run = run, .job = job};
    workers->running++;
    pthread_mutex_lock(&workers->lock);
    put(&workers->waiting, piece);
    pthread_cond_signal(&workers->more);
    pthread_mutex_unlock(&workers->lock);
}

void workers_offer(struct workers *workers, struct workers_part *part)
{
    part->next = NULL;
    part->state = PART_OFFERED;
    pthread_mutex_lock(&workers->lock);
    struct workers_part **last = &workers->parts;
    while (*last)
        last = &(*last)->next;
    *last = part;
    pthread_cond_signal(&workers->more);
    pthread_mutex_unlock(&workers->lock);
}

void workers_join(struct workers *workers, struct workers_part *part)
{
    pthread_mutex_lock(&workers->lock);
    if (part->state == PART_OFFERED) {
        withdraw(workers, part);
        run_part(workers, part);
    }
    while (part->state != PART_DONE)
        pthread_cond_wait(&workers->part_done, &workers->lock);
    pthread_mutex_unlock(&workers->lock);
}

void *workers_collect(struct workers *workers)
{
    eventfd_t ignored;
    (void)eventfd_read(workers->fd, &ignored); /* not readable means only that nothing is there */
    pthread_mutex_lock(&workers->lock);
    struct piece *piece = take(&workers->done);
    if (workers->done.first)
        eventfd_write(workers->fd, 1); /* more: stay readable */
    pthread_mutex_unlock(&workers->lock);
    if (!piece)
        return NULL;
    void *job = piece->job;
    free(piece);
    workers->running--;
    return job;
}

void *workers_wait(struct workers *workers)
{
    while (workers->running > 0) {
        void *job = workers_collect(workers);
        if (job)
            return job;
        struct pollfd next = {.fd = workers->fd, .events = POLLIN};
        (void)poll(&next, 1, -1);
    }
    return NULL;
}

static bool start_threads(struct workers *workers, size_t threads, struct error *error)
{
    sigset_t all, before;
    pthread_attr_t attributes;
    sigfillset(&all);
    pthread_sigmask(SIG_SETMASK, &all, &before); /* inherited: signals stay with the owner */
    pthread_attr_init(&attributes);
    pthread_attr_setstacksize(&attributes, STACK_SIZE);
    int failure = 0;
    while (failure == 0 && workers->count < threads) {
        failure = pthread_create(&workers->threads[workers->count], &attributes, run_thread, workers);
        workers->count += failure == 0;
    }
    pthread_attr_destroy(&attributes);
    pthread_sigmask(SIG_SETMASK, &before, NULL);
    return failure == 0 || fail(error, ERROR_SYSTEM,
                                "cannot start %zu worker threads, only %zu ('workers' in the "
                                "settings)",
                                threads, workers->count);
}

static void *run_thread(void *argument)
{
    struct workers *workers = argument;
    struct piece *piece;
    setpriority(PRIO_PROCESS, (id_t)gettid(), NICENESS); /* where it is refused we are merely less polite */
    while ((piece = take_waiting(workers))) {
        piece->run(piece->job);
        pthread_mutex_lock(&workers->lock);
        put(&workers->done, piece);
        eventfd_write(workers->fd, 1);
        pthread_mutex_unlock(&workers->lock);
    }
    return NULL;
}

/* NULL: it is time to end. Parts of others' jobs are run while no job waits. */
static struct piece *take_waiting(struct workers *workers)
{
    pthread_mutex_lock(&workers->lock);
    while (!workers->waiting.first && !workers->is_closing) {
        struct workers_part *part = workers->parts;
        if (part) {
            workers->parts = part->next;
            run_part(workers, part);
        } else {
            pthread_cond_wait(&workers->more, &workers->lock);
        }
    }
    struct piece *piece = take(&workers->waiting);
    pthread_mutex_unlock(&workers->lock);
    return piece;
}

/* One that nobody else can take any more. Called with the lock, which is open while the part runs. */
static void run_part(struct workers *workers, struct workers_part *part)
{
    part->state = PART_TAKEN;
    pthread_mutex_unlock(&workers->lock);
    part->run(part->argument);
    pthread_mutex_lock(&workers->lock);
    part->state = PART_DONE;
    pthread_cond_broadcast(&workers->part_done);
}

static void withdraw(struct workers *workers, const struct workers_part *part)
{
    struct workers_part **link = &workers->parts;
    while (*link != part)
        link = &(*link)->next;
    *link = part->next;
}

static void put(struct queue *queue, struct piece *piece)
{
    piece->next = NULL;
    if (queue->last)
        queue->last->next = piece;
    else
        queue->first = piece;
    queue->last = piece;
}

static struct piece *take(struct queue *queue)
{
    struct piece *piece = queue->first;
    if (!piece)
        return NULL;
    queue->first = piece->next;
    if (!queue->first)
        queue->last = NULL;
    return piece;
}
