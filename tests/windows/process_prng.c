/* ProcessPrng for a Wine that lacks it (before 9.0): random bytes from the function of
   advapi32 that it has. Only for trying the program under Wine; never shipped. */
#include <windows.h>
#include <ntsecapi.h>

BOOL WINAPI ProcessPrng(PBYTE data, SIZE_T length)
{
    return RtlGenRandom(data, (ULONG)length);
}
