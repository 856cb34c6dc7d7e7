// Sensor board in the packed form. Change settings.h, choose your board, upload. The work is done in board.c and packet.c.
#include "board.h"

void setup() { board_begin(); }

void loop() { board_work(); }
