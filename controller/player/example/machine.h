/* The machine of the example: a cabinet that lends umbrellas. It knows nothing of
 * light. A ring of umbrellas turns by a motor whose encoder gives 400 edges a
 * second on INT0, a light barrier in the slot gives pulses of 3 ms on INT1, and
 * three relays on port C switch the ring, the fan and the lock.
 */
#ifndef MACHINE_H
#define MACHINE_H

#include <stdint.h>

enum { RING, FAN, LOCK, LOADS }; /* relays, port C bits 0 to 2; loads of the show in this order */

#define TURN 3200u /* edges from one umbrella to the next: 8 s */

void machine_start(void);
void machine_switch(uint8_t relay, uint8_t on);
uint8_t machine_is_on(uint8_t relay);
uint16_t machine_edges(void);  /* since the start */
uint16_t machine_pulses(void);

#endif
