#include "io/large_pages.h"

#include <malloc.h>
#include <sys/mman.h>
#include <unistd.h>

#include <cstdint>
#include <cstdlib>

namespace forewarm::io {

void use_large_pages() {
#if defined(__GLIBC__) && defined(MADV_HUGEPAGE)
  // Address space, not memory: what is never touched costs nothing.
  constexpr std::size_t kHeap = std::size_t{64} << 20U;
  constexpr std::uintptr_t kPage = std::uintptr_t{2} << 20U;
  mallopt(M_TOP_PAD, int(kHeap));
  mallopt(M_TRIM_THRESHOLD, int(2 * kHeap));
  mallopt(M_MMAP_THRESHOLD, int(kHeap / 2));
  const auto before = std::uintptr_t(sbrk(0));
  void* volatile grown = std::malloc(std::size_t{1} << 20U);
  std::free(grown);
  const auto after = std::uintptr_t(sbrk(0));
  if (after < before + kHeap) return;  // another allocator
  const std::uintptr_t from = (before + kPage - 1) / kPage * kPage;
  (void)madvise(reinterpret_cast<void*>(from), after - from, MADV_HUGEPAGE);
#endif
}

}  // namespace forewarm::io
