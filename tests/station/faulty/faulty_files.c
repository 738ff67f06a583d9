/* A file layer that fails on order, put before the real one by LD_PRELOAD: for the kill tests.
 *
 * FAULTY_AT=n      the n-th call that changes a file below FAULTY_UNDER is the one that fails
 * FAULTY_HOW=      kill   the process is killed before the call
 *                  torn   a write puts down only its first part, then the process is killed
 *                  EIO, ENOSPC, EROFS   the call and all after it are refused with that error,
 *                  slow   the call and all after it take a third of a second longer
 * The settings may change while the process runs; FAULTY_AT=0 lets all be well again.
 * FAULTY_UNDER=dir only files whose path begins so count
 * FAULTY_COUNT=file   the number of calls that counted is left in this file at each call
 */
#define _GNU_SOURCE
#include <dlfcn.h>
#include <errno.h>
#include <fcntl.h>
#include <signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/types.h>
#include <unistd.h>

static long calls = 0;
static __thread int inside = 0;

static const char *setting(const char *name) {
    const char *value = getenv(name);
    return value ? value : "";
}

static int below(const char *path) {
    const char *under = setting("FAULTY_UNDER");
    return *under && strncmp(path, under, strlen(under)) == 0;
}

static int counts(int fd) {
    char link[64], path[4096];
    snprintf(link, sizeof link, "/proc/self/fd/%d", fd);
    ssize_t length = readlink(link, path, sizeof path - 1);
    if (length <= 0) return 0;
    path[length] = 0;
    return below(path);
}

static void leave_count(void) {
    const char *file = setting("FAULTY_COUNT");
    if (!*file) return;
    int (*real_open)(const char *, int, ...) = dlsym(RTLD_NEXT, "open");
    ssize_t (*real_write)(int, const void *, size_t) = dlsym(RTLD_NEXT, "write");
    int fd = real_open(file, O_WRONLY | O_CREAT | O_TRUNC, 0600);
    if (fd < 0) return;
    char text[32];
    int length = snprintf(text, sizeof text, "%ld", calls);
    if (real_write(fd, text, length) < 0) { /* nothing to be done */ }
    close(fd);
}

static void die(void) { kill(getpid(), SIGKILL); for (;;) pause(); }

/* 0: go on; 1: put down a part, then die; 2: refuse with errno. */
static int verdict(void) {
    if (inside) return 0;
    inside = 1;
    long now = __sync_add_and_fetch(&calls, 1), at = atol(setting("FAULTY_AT"));
    const char *how = setting("FAULTY_HOW");
    leave_count();
    int answer = 0;
    if (at > 0 && now >= at) {
        if (strcmp(how, "kill") == 0) die();
        else if (strcmp(how, "torn") == 0) answer = 1;
        else if (strcmp(how, "slow") == 0) usleep(330000);
        else {
            answer = 2;
            errno = strcmp(how, "ENOSPC") == 0 ? ENOSPC : strcmp(how, "EROFS") == 0 ? EROFS : EIO;
        }
    }
    int kept = errno;
    inside = 0;
    errno = kept;
    return answer;
}

#define REAL(name) static __typeof__(&name) real; if (!real) real = (__typeof__(&name))dlsym(RTLD_NEXT, #name)

ssize_t write(int fd, const void *data, size_t size) {
    REAL(write);
    if (counts(fd)) switch (verdict()) {
        case 1: if (real(fd, data, size / 2) < 0) {} die();
        case 2: return -1;
    }
    return real(fd, data, size);
}
ssize_t pwrite(int fd, const void *data, size_t size, off_t at) {
    REAL(pwrite);
    if (counts(fd)) switch (verdict()) {
        case 1: if (real(fd, data, size / 2, at) < 0) {} die();
        case 2: return -1;
    }
    return real(fd, data, size, at);
}
ssize_t pwrite64(int fd, const void *data, size_t size, off64_t at) {
    REAL(pwrite64);
    if (counts(fd)) switch (verdict()) {
        case 1: if (real(fd, data, size / 2, at) < 0) {} die();
        case 2: return -1;
    }
    return real(fd, data, size, at);
}
#define PLAIN(fd_) if (counts(fd_)) switch (verdict()) { case 1: die(); case 2: return -1; }
int fsync(int fd) { REAL(fsync); PLAIN(fd) return real(fd); }
int fdatasync(int fd) { REAL(fdatasync); PLAIN(fd) return real(fd); }
int ftruncate(int fd, off_t size) { REAL(ftruncate); PLAIN(fd) return real(fd, size); }
int ftruncate64(int fd, off64_t size) { REAL(ftruncate64); PLAIN(fd) return real(fd, size); }
#define NAMED(path_) if (below(path_)) switch (verdict()) { case 1: die(); case 2: return -1; }
int unlink(const char *path) { REAL(unlink); NAMED(path) return real(path); }
int rename(const char *from, const char *to) { REAL(rename); NAMED(to) return real(from, to); }
