#include "probe.h"

#include <stdlib.h>
#include <string.h>

static struct service *service_of(struct mcu *mcu, const avr_irq_t *irq, int which)
{
    for (int vector = 1; vector < VECTORS; vector++) {
        avr_irq_t *own = avr_get_interrupt_irq(mcu->avr, (uint8_t)vector);
        if (own != NULL && own + which == irq)
            return &mcu->services[vector];
    }
    abort();
}

// Its event came; what it waited for may also be served by another routine.
static void raise(avr_irq_t *irq, uint32_t pending, void *param)
{
    struct mcu *mcu = param;
    if (pending)
        service_of(mcu, irq, AVR_INT_IRQ_PENDING)->raised = mcu->avr->cycle;
}

// Called when a routine begins and when it has returned. The entry was counted before (mending.c).
static void serve(avr_irq_t *irq, uint32_t running, void *param)
{
    struct mcu *mcu = param;
    struct service *service = service_of(mcu, irq, AVR_INT_IRQ_RUNNING);
    avr_cycle_count_t now = mcu->avr->cycle;
    if (running) {
        unsigned long waited = service->raised ? (unsigned long)(now - service->raised) : 0;
        service->waited = waited > service->waited ? waited : service->waited;
        service->entered = now;
        service->raised = 0;
    } else if (service->entered) {
        unsigned long took = (unsigned long)(now - service->entered) + ENTRY_CYCLES;
        service->count++;
        service->total += took;
        service->longest = took > service->longest ? took : service->longest;
        service->entered = 0;
    }
}

void probe_begin(struct mcu *mcu)
{
    for (int vector = 1; vector < VECTORS; vector++) {
        avr_irq_t *irq = avr_get_interrupt_irq(mcu->avr, (uint8_t)vector);
        if (irq != NULL) {
            mcu_on_return(mcu, vector, serve);
            avr_irq_register_notify(irq + AVR_INT_IRQ_PENDING, raise, mcu);
        }
    }
}

void probe_memory(const struct mcu *mcu, FILE *replies, const char *arguments)
{
    char *rest;
    unsigned long address = strtoul(arguments, &rest, 0), count = strtoul(rest, NULL, 0);
    if (count == 0 || address + count > (unsigned long)mcu->avr->ramend + 1) {
        fprintf(replies, "{\"error\": \"memory ADDRESS COUNT, within the data space\"}\n");
    } else {
        fprintf(replies, "{\"memory\": \"");
        for (unsigned long i = 0; i < count; i++)
            fprintf(replies, "%02x", mcu->avr->data[address + i]);
        fprintf(replies, "\"}\n");
    }
    fflush(replies);
}

void probe_interrupts(struct mcu *mcu, FILE *replies, bool clear)
{
    const char *comma = "";
    fprintf(replies, "{\"interrupts\": {");
    for (int vector = 1; vector < VECTORS; vector++) {
        const struct service *service = &mcu->services[vector];
        if (service->count == 0)
            continue;
        fprintf(replies, "%s\"%d\": {\"count\": %lu, \"longest\": %lu, \"total\": %lu, "
                "\"waited\": %lu}", comma, vector, service->count, service->longest, service->total,
                service->waited);
        comma = ", ";
    }
    fprintf(replies, "}}\n");
    fflush(replies);
    if (clear)
        memset(mcu->services, 0, sizeof mcu->services);
}

void probe_step(struct mcu *mcu)
{
    const avr_t *avr = mcu->avr;
    struct loop *loop = &mcu->loop;
    if (avr->pc == loop->at) {
        unsigned long took = (unsigned long)(avr->cycle - loop->began);
        if (loop->began) {
            loop->turns++;
            loop->total += took;
            loop->longest = took > loop->longest ? took : loop->longest;
        }
        loop->began = avr->cycle;
    }
    // An interrupt's own routine is not meant: `interrupts` tells of those.
    bool masked = !avr->sreg[S_I] && avr->interrupts.running_ptr == 0;
    if (!masked) {
        unsigned long off = (unsigned long)(avr->cycle - loop->masked_since);
        if (loop->masked_since && off > loop->masked)
            loop->masked = off;
        loop->masked_since = 0;
    } else if (!loop->masked_since) {
        loop->masked_since = avr->cycle;
    }
}

void probe_loop(struct mcu *mcu, FILE *replies, const char *argument)
{
    const struct loop *loop = &mcu->loop;
    fprintf(replies, "{\"turns\": %lu, \"total\": %lu, \"longest\": %lu, \"masked\": %lu}\n",
            loop->turns, loop->total, loop->longest, loop->masked);
    fflush(replies);
    avr_flashaddr_t at = *argument ? (avr_flashaddr_t)strtoul(argument, NULL, 0) : loop->at;
    mcu->loop = (struct loop){.at = at};
}
