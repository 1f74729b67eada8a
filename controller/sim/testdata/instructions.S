; One instruction, or a few, between two marks in GPIOR1 at a time: what each takes.
; Sections count what stands between the two OUT.
#define __SFR_OFFSET 0
#include <avr/io.h>

.macro section number
	ldi r16, \number
	clr r17
	ldi r26, 0x00
	ldi r27, 0x04
	ldi r30, 0x00
	ldi r31, 0x01
	out GPIOR1, r16
.endm
.macro done
	out GPIOR1, r17
.endm

	.text
	.global main
main:
	section 1
	nop
	done
	section 2
	mul r16, r17
	done
	section 3
	ld r18, X+
	done
	section 4
	elpm r18, Z+
	done
	section 5
	lds r18, 0x0400
	done
	section 6
	push r18
	done
	pop r18
	push r18
	section 7
	pop r18
	done
	section 8
	rjmp 1f
1:	done
	section 9
	tst r17
	brne 1f
1:	done
	section 10
	tst r16
	brne 1f
1:	done
	section 11
	sbrs r17, 0
	nop
	done
	section 12
	sbrc r17, 0
	lds r18, 0x0400
	done
	section 13
	adiw r26, 1
	done
	section 14
	sbi PORTC, 0
	done
	section 15
	call nothing
	done
	section 16
	rcall nothing
	done
	ldi r30, pm_lo8(1f)
	ldi r31, pm_hi8(1f)
	ldi r16, 17
	out GPIOR1, r16
	ijmp
	nop
1:	done
	section 18
	sts 0x0400, r18
	done
	section 19
	lpm r18, Z+
	done
	section 20
	ldd r18, Z+3
	done
	; A timer's interrupt waits; how many instructions run after SEI, and after RETI?
	ldi r16, 1
	sts TCCR1B, r16
	sts TIMSK1, r16
	ldi r16, 0xff
	ldi r17, 0xf0
	sts TCNT1H, r16
	sts TCNT1L, r17
	ldi r17, 20
1:	dec r17
	brne 1b
	clr r20
	sei
	inc r20
	inc r20
	inc r20
	cli
	out GPIOR0, r21     ; 1: what the interrupt saw
	; Two interrupts wait at once: one instruction between them.
	clr r20
	ldi r16, 3          ; overflow and compare
	sts TIMSK1, r16
	ldi r17, 1 << 1
	out TIFR1, r17
	sts OCR1AH, r1
	ldi r16, 0x20
	sts OCR1AL, r16
	ldi r16, 0xff
	ldi r17, 0xf0
	sts TCNT1H, r16
	sts TCNT1L, r17
	ldi r17, 40
1:	dec r17
	brne 1b
	clr r20
	sei
	inc r20
	inc r20
	inc r20
	cli
	out GPIOR0, r22     ; 1: the compare comes first
	out GPIOR0, r21     ; 2: then the overflow
	ldi r16, 255
	out GPIOR0, r16
1:	rjmp 1b

	.global TIMER1_OVF_vect
TIMER1_OVF_vect:
	mov r21, r20
	reti
	.global TIMER1_COMPA_vect
TIMER1_COMPA_vect:
	mov r22, r20
	reti

nothing:
	ret
