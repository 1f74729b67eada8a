; Pixel output: bits in even time, the next codes computed between their edges.
;
; One bit is PG_BIT cycles: the line rises at 0, falls at PG_HIGH0 for a 0 and at
; PG_HIGH1 for a 1. What is left between these edges does the work of the next
; byte: fetch, crossfade, gain, wire order, the step to the next pixel and to the
; next stretch. So a refresh takes its wire time and no cycle more.
;
;	T0        out   rise
;	    A     3 cycles of work
;	T0H       out   fall of a 0
;	    B     4 cycles
;	T1H       out   fall of a 1
;	    C     8 cycles
;	T0 of the next
;
; In place of C the last bit of every byte has the window for interrupts: SEI, one
; instruction, CLI. A processor runs one instruction after SEI and one after RETI
; before it takes an interrupt, so exactly one fits in. Timer 0 watches it: it is
; set before, and overflows when the line was low for longer than the part
; allows; then nothing more is sent.
;
; The line is turned by writing its mask to PINx, which no interrupt routine that
; works on other pins of the port can spoil.
;
; Counted by hand from the instruction set manual and checked in the simulator,
; bit by bit (controller/sim).

#include "pg_timing.h"

#define EXTRA_A (PG_HIGH0 - 5)
#define EXTRA_B (PG_HIGH1 - PG_HIGH0 - 6)
#define EXTRA_C (PG_BIT - PG_HIGH1 - 9)

; struct pg_stretch
#define INDEX 0
#define FROM 2
#define FROZEN 4
#define COUNT 6
#define GAIN 8
#define AFTER 10
#define ORDER 12
#define DIES 16
#define KEY 17
#define STEP 18
#define GUARD 19
#define STRETCH 20

#define zero r2
#define mask r3
#define frozen r4
#define frozen_hi r5
#define gain r6
#define gain_hi r7
#define run r8
#define run_hi r9
#define codes r10
#define codes_hi r11
#define offset r12
#define die r13
#define t r14
#define weight r15
#define cur r16
#define next r17
#define shown r18
#define before r19
#define mixed r20
#define code r21
#define last r22
#define last_hi r23
#define count r24
#define count_hi r25

.macro pad n
	.rept (\n) / 2
	rjmp .+0
	.endr
	.rept (\n) % 2
	nop
	.endr
.endm

.macro idle_a
	pad 3
.endm
.macro idle_b
	pad 4
.endm

; ---- a bit

.macro bit n, a, b, c
	out PG_PIN, mask
	\a
	pad EXTRA_A
	sbrs cur, \n
	out PG_PIN, mask
	\b
	pad EXTRA_B
	sbrc cur, \n
	out PG_PIN, mask
	\c
	.if \n
	pad EXTRA_C
	.endif
.endm

#include "pg_pixels_work.h"

	.section .text.pg_pixels, "ax", @progbits
	.global pg_pixels_send, pg_pixels_change, pg_pixels_end
	.type pg_pixels_send, @function

; uint8_t pg_pixels_send(const struct pg_stretch *first, uint8_t mask, uint8_t weight)
; Interrupts are off when it is called, and when it returns 0, or 1 where a pause
; was too long.
pg_pixels_send:
	push r2
	push r3
	push r4
	push r5
	push r6
	push r7
	push r8
	push r9
	push r10
	push r11
	push r12
	push r13
	push r14
	push r15
	push r16
	push r17
	push r28
	push r29
	movw r28, r24
	mov mask, r22
	mov weight, r20
	clr zero
	; the first code, as the three kinds of bytes compute it
	change_b
	change_c
	codes_a
	codes_b
	change_frozen_b
	gain_b
	advancing_a
	new_count_b
	dies_a
	dec die
	fetch_c
	fetch_frozen_c
	mix_c
	mix_frozen_c
	scale_c
	scale_hi_c
	after_a
	after_hi_a
	count_b

middle:
	bit 7, take_a, idle_b, order_c
	bit 6, idle_a, idle_b, fetch_c
	bit 5, idle_a, idle_b, fetch_frozen_c
	bit 4, idle_a, idle_b, mix_c
	bit 3, idle_a, idle_b, mix_frozen_c
	bit 2, idle_a, idle_b, scale_c
	bit 1, guard_a, middle_b, scale_hi_c
	bit 0, watch_a, choose_b, window_c

advance:
	bit 7, advance_a, advance_b, advance_c
	bit 6, first_a, advance_frozen_b, fetch_c
	bit 5, dies_a, idle_b, fetch_frozen_c
	bit 4, after_a, after_hi_b, mix_c
	bit 3, idle_a, count_b, mix_frozen_c
	bit 2, idle_a, idle_b, scale_c
	bit 1, guard_a, middle_b, scale_hi_c
	bit 0, watch_a, choose_b, window_c

pg_pixels_change:
	bit 7, change_a, change_b, change_c
	bit 6, codes_a, codes_b, fetch_c
	bit 5, dies_a, change_frozen_b, fetch_frozen_c
	bit 4, advancing_a, gain_b, mix_c
	bit 3, after_a, new_count_b, mix_frozen_c
	bit 2, after_hi_a, count_b, scale_c
	bit 1, guard_a, middle_b, scale_hi_c
	bit 0, watch_a, choose_b, window_c

; The very last byte goes out as one in the middle of a pixel, and then to done.
pg_pixels_end:
	clr die
	inc die
	ldi last, lo8(pm(done))
	ldi last_hi, hi8(pm(done))
	rjmp middle

late:
	ldi r24, 1
	rjmp out
done:
	clr r24
out:
	clr r1
	clr r25
	pop r29
	pop r28
	pop r17
	pop r16
	pop r15
	pop r14
	pop r13
	pop r12
	pop r11
	pop r10
	pop r9
	pop r8
	pop r7
	pop r6
	pop r5
	pop r4
	pop r3
	pop r2
	ret
	.size pg_pixels_send, . - pg_pixels_send
