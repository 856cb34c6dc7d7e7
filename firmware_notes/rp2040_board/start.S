/* The first 256 bytes of flash, which the chip's boot ROM copies into memory, checks (make_image.py fills in the sum) and calls;
   then the vectors and what a C program needs before main. Registers of the flash interface: data sheet, chapter on the SSI. */
    .syntax unified
    .cpu cortex-m0plus
    .thumb

    .section .boot2, "ax"
    .thumb_func
boot2:
    ldr r0, =0x18000000
    movs r1, #0
    str r1, [r0, #0x08]     /* SSIENR: off while it is set */
    movs r1, #4
    str r1, [r0, #0x14]     /* BAUDR: a quarter of the system clock */
    ldr r1, =0x001F0300     /* CTRLR0: 32 bits, EEPROM read */
    str r1, [r0, #0x00]
    movs r1, #0
    str r1, [r0, #0x04]     /* CTRLR1: one word at a time */
    ldr r1, =0x03000218     /* SPI_CTRLR0: command 03h, 8 bits, 24 bits of address */
    ldr r2, =0x180000F4
    str r1, [r2]
    movs r1, #1
    str r1, [r0, #0x08]
    ldr r0, =vectors
    ldr r1, =0xE000ED08     /* VTOR */
    str r0, [r1]
    ldm r0!, {r1, r2}
    msr msp, r1
    bx r2
    .pool

    .section .vectors, "a"
    .global vectors
vectors:
    .word stack_top, reset
    .rept 14 + 11
    .word stuck
    .endr
    .word on_dma            /* interrupt 11: DMA_IRQ_0 */

    .text
    .thumb_func
    .global reset
reset:
    ldr r0, =data_start
    ldr r1, =data_end
    ldr r2, =data_load
1:  cmp r0, r1
    bhs 2f
    ldm r2!, {r3}
    stm r0!, {r3}
    b 1b
2:  ldr r1, =bss_end
    movs r3, #0
3:  cmp r0, r1
    bhs 4f
    stm r0!, {r3}
    b 3b
4:  bl main
    .thumb_func
stuck:                      /* the watchdog ends it */
    b stuck
    .pool
