/* Preloaded before the server in a drill: lets calls on the book's files fail, and keeps what reached them in the order in which it did, so
 * that a power cut can be played afterwards. What to do stands in a shared page, so that it can be changed while the server runs. */
#define _GNU_SOURCE
#include <dlfcn.h>
#include <errno.h>
#include <fcntl.h>
#include <limits.h>
#include <pthread.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/mman.h>
#include <sys/types.h>
#include <unistd.h>

enum { WRITE = 1, SYNC = 2, READ = 3, TRUNCATE = 4 };

/* Which call fails, with which error, after so many that work, so many times; and how often it did. */
struct orders {
    volatile int32_t call, error, after, times, struck;
};

static struct orders *orders;
static const char *book;
static int journal = -1;
static pthread_mutex_t turn = PTHREAD_MUTEX_INITIALIZER;

__attribute__((constructor)) static void begin(void) {
    book = getenv("DRILL_BOOK");
    const char *page = getenv("DRILL_ORDERS"), *kept = getenv("DRILL_JOURNAL");
    int file = page ? open(page, O_RDWR) : -1;
    if (file >= 0) {
        void *at = mmap(NULL, sizeof *orders, PROT_READ | PROT_WRITE, MAP_SHARED, file, 0);
        orders = at == MAP_FAILED ? NULL : at;
    }
    if (kept)
        journal = open(kept, O_WRONLY | O_APPEND | O_CREAT | O_CLOEXEC, 0600);
}

/* 0: the book itself; 1: what is written ahead of it; -1: another file. */
static int which(int file) {
    char link[64], path[PATH_MAX];
    snprintf(link, sizeof link, "/proc/self/fd/%d", file);
    ssize_t length = book ? readlink(link, path, sizeof path - 1) : -1;
    if (length < 0)
        return -1;
    path[length] = 0;
    size_t own = strlen(book);
    if (strncmp(path, book, own) != 0)
        return -1;
    return path[own] == 0 ? 0 : strcmp(path + own, "-wal") == 0 ? 1 : -1;
}

/* Whether this call fails, by what was ordered; errno says with what. */
static int fails(int call, int file) {
    if (!orders || orders->call != call || orders->times <= 0 || which(file) < 0)
        return 0;
    if (orders->after > 0) {
        orders->after--;
        return 0;
    }
    orders->times--;
    orders->struck++;
    errno = orders->error;
    return 1;
}

static ssize_t (*real_write)(int, const void *, size_t);

/* Kept before the next call has its turn, so that the order kept is the order in which it was done. */
static void keep(int call, int file, int64_t offset, const void *bytes, uint32_t length) {
    int of = journal < 0 ? -1 : which(file);
    if (of < 0)
        return;
    size_t whole = 14 + (bytes ? length : 0);
    unsigned char *entry = malloc(whole);
    if (!entry)
        abort();
    entry[0] = (unsigned char)call;
    entry[1] = (unsigned char)of;
    memcpy(entry + 2, &offset, 8);
    memcpy(entry + 10, &length, 4);
    if (bytes)
        memcpy(entry + 14, bytes, length);
    if (real_write(journal, entry, whole) != (ssize_t)whole)
        abort();
    free(entry);
}

#define REAL(name) \
    static __typeof__(&name) real; \
    if (!real) \
        real = (__typeof__(&name))dlsym(RTLD_NEXT, #name)

ssize_t write(int file, const void *bytes, size_t length) {
    if (!real_write)
        real_write = (__typeof__(&write))dlsym(RTLD_NEXT, "write");
    if (fails(WRITE, file))
        return -1;
    if (journal < 0 || which(file) < 0)
        return real_write(file, bytes, length);
    pthread_mutex_lock(&turn);
    int64_t offset = lseek(file, 0, SEEK_CUR);
    ssize_t done = real_write(file, bytes, length);
    int error = errno;
    if (done > 0)
        keep(WRITE, file, offset, bytes, (uint32_t)done);
    pthread_mutex_unlock(&turn);
    errno = error;
    return done;
}

static ssize_t written_at(__typeof__(&pwrite64) real, int file, const void *bytes, size_t length, int64_t offset) {
    if (!real_write)
        real_write = (__typeof__(&write))dlsym(RTLD_NEXT, "write");
    if (fails(WRITE, file))
        return -1;
    pthread_mutex_lock(&turn);
    ssize_t done = real(file, bytes, length, offset);
    int error = errno;
    if (done > 0)
        keep(WRITE, file, offset, bytes, (uint32_t)done);
    pthread_mutex_unlock(&turn);
    errno = error;
    return done;
}

ssize_t pwrite64(int file, const void *bytes, size_t length, off64_t offset) {
    REAL(pwrite64);
    return written_at(real, file, bytes, length, offset);
}

ssize_t pwrite(int file, const void *bytes, size_t length, off_t offset) {
    REAL(pwrite64);
    return written_at(real, file, bytes, length, offset);
}

static int synced(int (*real)(int), int file) {
    if (!real_write)
        real_write = (__typeof__(&write))dlsym(RTLD_NEXT, "write");
    if (fails(SYNC, file))
        return -1;
    /* What is written meanwhile may or may not be in it: only what was kept before counts as safe. */
    pthread_mutex_lock(&turn);
    int done = real(file);
    int error = errno;
    if (done == 0)
        keep(SYNC, file, 0, NULL, 0);
    pthread_mutex_unlock(&turn);
    errno = error;
    return done;
}

int fsync(int file) {
    REAL(fsync);
    return synced(real, file);
}

int fdatasync(int file) {
    REAL(fdatasync);
    return synced(real, file);
}

static int cut_at(int (*real)(int, off64_t), int file, int64_t length) {
    if (!real_write)
        real_write = (__typeof__(&write))dlsym(RTLD_NEXT, "write");
    pthread_mutex_lock(&turn);
    int done = real(file, length);
    int error = errno;
    if (done == 0)
        keep(TRUNCATE, file, length, NULL, 0);
    pthread_mutex_unlock(&turn);
    errno = error;
    return done;
}

int ftruncate64(int file, off64_t length) {
    REAL(ftruncate64);
    return cut_at(real, file, length);
}

int ftruncate(int file, off_t length) {
    REAL(ftruncate64);
    return cut_at(real, file, length);
}

ssize_t read(int file, void *bytes, size_t length) {
    REAL(read);
    return fails(READ, file) ? -1 : real(file, bytes, length);
}

ssize_t pread64(int file, void *bytes, size_t length, off64_t offset) {
    REAL(pread64);
    return fails(READ, file) ? -1 : real(file, bytes, length, offset);
}

ssize_t pread(int file, void *bytes, size_t length, off_t offset) {
    REAL(pread64);
    return fails(READ, file) ? -1 : real(file, bytes, length, offset);
}
