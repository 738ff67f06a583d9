/* Writes down every call that changes a file below a folder, in order, with its data: for the test of
 * power cuts. Put before the real file layer by LD_PRELOAD.
 *
 * RECORDED_UNDER=dir   only files whose path begins so
 * RECORDED_MARKS=file  writes to this file are written down as marks
 * RECORDED_LOG=file    where they are written down; a record is a letter (W write, T truncate, S sync,
 *                      U unlink, R rename, M mark), the inode, an offset or size, the lengths of path
 *                      and data (all little ends first), then the path and the data
 */
#define _GNU_SOURCE
#include <dlfcn.h>
#include <fcntl.h>
#include <pthread.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <sys/types.h>
#include <unistd.h>

static pthread_mutex_t turn = PTHREAD_MUTEX_INITIALIZER;
static int sink = -1;

#define REAL(name) static __typeof__(&name) real; if (!real) real = (__typeof__(&name))dlsym(RTLD_NEXT, #name)

static const char *setting(const char *name) {
    const char *value = getenv(name);
    return value ? value : "";
}

static int below(const char *path) {
    const char *under = setting("RECORDED_UNDER");
    return *under && strncmp(path, under, strlen(under)) == 0;
}

static int path_of(int fd, char *path, size_t room) {
    char link[64];
    snprintf(link, sizeof link, "/proc/self/fd/%d", fd);
    ssize_t length = readlink(link, path, room - 1);
    if (length <= 0) return 0;
    path[length] = 0;
    return 1;
}

static void put(const void *data, size_t size) {
    ssize_t (*real_write)(int, const void *, size_t) = dlsym(RTLD_NEXT, "write");
    while (size > 0) {
        ssize_t done = real_write(sink, data, size);
        if (done <= 0) abort();
        data = (const char *)data + done;
        size -= done;
    }
}

static void record(char what, uint64_t inode, int64_t at, const char *path, const void *data, size_t size) {
    if (sink < 0) {
        int (*real_open)(const char *, int, ...) = dlsym(RTLD_NEXT, "open");
        sink = real_open(setting("RECORDED_LOG"), O_WRONLY | O_CREAT | O_APPEND, 0600);
        if (sink < 0) abort();
    }
    uint32_t lengths[2] = {(uint32_t)strlen(path), (uint32_t)size};
    put(&what, 1);
    put(&inode, sizeof inode);
    put(&at, sizeof at);
    put(lengths, sizeof lengths);
    put(path, lengths[0]);
    put(data, size);
}

/* The call itself and its record are one: nothing of another thread comes between. */
#define RECORDED(fd_, what_, at_, data_, size_, call_) do { \
    char path[4096]; \
    int here = path_of(fd_, path, sizeof path); \
    int mark = here && strcmp(path, setting("RECORDED_MARKS")) == 0; \
    if (!mark && !(here && below(path))) return call_; \
    pthread_mutex_lock(&turn); \
    struct stat about; \
    int64_t place = (at_); \
    uint64_t inode = fstat(fd_, &about) == 0 ? about.st_ino : 0; \
    __typeof__(call_) found = call_; \
    if (found >= 0) record(mark ? 'M' : what_, inode, place, path, data_, size_); \
    pthread_mutex_unlock(&turn); \
    return found; \
} while (0)

static int64_t place_of(int fd) {
    if (fcntl(fd, F_GETFL) & O_APPEND) {
        struct stat about;
        return fstat(fd, &about) == 0 ? about.st_size : 0;
    }
    return lseek(fd, 0, SEEK_CUR);
}

ssize_t write(int fd, const void *data, size_t size) {
    REAL(write);
    RECORDED(fd, 'W', place_of(fd), data, (size_t)(found > 0 ? found : 0), real(fd, data, size));
}
ssize_t pwrite(int fd, const void *data, size_t size, off_t at) {
    REAL(pwrite);
    RECORDED(fd, 'W', at, data, (size_t)(found > 0 ? found : 0), real(fd, data, size, at));
}
ssize_t pwrite64(int fd, const void *data, size_t size, off64_t at) {
    REAL(pwrite64);
    RECORDED(fd, 'W', at, data, (size_t)(found > 0 ? found : 0), real(fd, data, size, at));
}
int fsync(int fd) { REAL(fsync); RECORDED(fd, 'S', 0, "", 0, real(fd)); }
int fdatasync(int fd) { REAL(fdatasync); RECORDED(fd, 'S', 0, "", 0, real(fd)); }
int ftruncate(int fd, off_t size) { REAL(ftruncate); RECORDED(fd, 'T', size, "", 0, real(fd, size)); }
int ftruncate64(int fd, off64_t size) { REAL(ftruncate64); RECORDED(fd, 'T', size, "", 0, real(fd, size)); }

int unlink(const char *path) {
    REAL(unlink);
    if (!below(path)) return real(path);
    pthread_mutex_lock(&turn);
    int found = real(path);
    if (found == 0) record('U', 0, 0, path, "", 0);
    pthread_mutex_unlock(&turn);
    return found;
}
int rename(const char *from, const char *to) {
    REAL(rename);
    if (!below(to)) return real(from, to);
    pthread_mutex_lock(&turn);
    int found = real(from, to);
    if (found == 0) record('R', 0, 0, from, to, strlen(to));
    pthread_mutex_unlock(&turn);
    return found;
}
