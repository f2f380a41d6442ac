/* Registers of the STM32F405 this board uses: addresses and bits, from ST's reference manual RM0090
 * and the Armv7-M architecture reference manual. Nothing here is a vendor file. */
#ifndef XB_REGISTERS_H
#define XB_REGISTERS_H

#include <stdint.h>

/* One 32-bit register. An address becomes a pointer here and nowhere else (DEVIATIONS.md). */
#define XB_REGISTER(address) (*(volatile uint32_t *)(address))

/* Reset and clock control */
#define XB_RCC_CR XB_REGISTER(0x40023800u)
#define XB_RCC_PLLCFGR XB_REGISTER(0x40023804u)
#define XB_RCC_CFGR XB_REGISTER(0x40023808u)
#define XB_RCC_AHB1ENR XB_REGISTER(0x40023830u)
#define XB_RCC_APB1ENR XB_REGISTER(0x40023840u)
#define XB_RCC_APB2ENR XB_REGISTER(0x40023844u)
#define XB_RCC_CSR XB_REGISTER(0x40023874u)

#define XB_RCC_CR_HSEON (1u << 16)
#define XB_RCC_CR_HSERDY (1u << 17)
#define XB_RCC_CR_PLLON (1u << 24)
#define XB_RCC_CR_PLLRDY (1u << 25)
#define XB_RCC_PLLCFGR_HSE (1u << 22)
#define XB_RCC_CFGR_SW_PLL 2u
#define XB_RCC_CFGR_SWS_MASK (3u << 2)
#define XB_RCC_CFGR_SWS_PLL (2u << 2)
#define XB_RCC_CFGR_APB1_DIV4 (5u << 10)
#define XB_RCC_CFGR_APB2_DIV2 (4u << 13)
#define XB_RCC_AHB1ENR_PORTS 0x0000000Fu /* ports A to D */
#define XB_RCC_APB1ENR_TIM2 (1u << 0)
#define XB_RCC_APB1ENR_CAN1 (1u << 25)
#define XB_RCC_APB1ENR_PWR (1u << 28)
#define XB_RCC_APB2ENR_USART1 (1u << 4)
#define XB_RCC_CSR_RMVF (1u << 24)
#define XB_RCC_CSR_BOR (1u << 25)
#define XB_RCC_CSR_PIN (1u << 26)
#define XB_RCC_CSR_POR (1u << 27)
#define XB_RCC_CSR_IWDG (1u << 29)
#define XB_RCC_CSR_WWDG (1u << 30)

/* Flash interface and voltage scaling */
#define XB_FLASH_ACR XB_REGISTER(0x40023C00u)
#define XB_FLASH_ACR_168_MHZ 0x00000705u /* caches and prefetch on, five wait states */
#define XB_PWR_CR XB_REGISTER(0x40007000u)
#define XB_PWR_CR_VOS (1u << 14)

/* Ports: base of port A, then one every 0x400 octets */
#define XB_PORT_BASE 0x40020000u
#define XB_PORT_STRIDE 0x400u
#define XB_PORT_A 0u
#define XB_PORT_B 1u
#define XB_PORT_C 2u
#define XB_PORT_D 3u
#define XB_GPIO(port, offset) XB_REGISTER(XB_PORT_BASE + (XB_PORT_STRIDE * (port)) + (offset))
#define XB_GPIO_MODER(port) XB_GPIO(port, 0x00u)
#define XB_GPIO_PUPDR(port) XB_GPIO(port, 0x0Cu)
#define XB_GPIO_BSRR(port) XB_GPIO(port, 0x18u)
#define XB_GPIO_AFRH(port) XB_GPIO(port, 0x24u)

/* USART1 */
#define XB_USART_SR XB_REGISTER(0x40011000u)
#define XB_USART_DR XB_REGISTER(0x40011004u)
#define XB_USART_BRR XB_REGISTER(0x40011008u)
#define XB_USART_CR1 XB_REGISTER(0x4001100Cu)
#define XB_USART_SR_ERRORS 0x00000007u /* parity, framing, noise */
#define XB_USART_SR_ORE (1u << 3)
#define XB_USART_SR_RXNE (1u << 5)
#define XB_USART_SR_TXE (1u << 7)
#define XB_USART_CR1_RECEIVE (1u << 2)
#define XB_USART_CR1_TRANSMIT (1u << 3)
#define XB_USART_CR1_RXNEIE (1u << 5)
#define XB_USART_CR1_ENABLE (1u << 13)
#define XB_USART1_INTERRUPT 37u

/* Timer 2, 32 bit wide: counts where the core's own cycle counter does not */
#define XB_TIM2_CR1 XB_REGISTER(0x40000000u)
#define XB_TIM2_EGR XB_REGISTER(0x40000014u)
#define XB_TIM2_CNT XB_REGISTER(0x40000024u)
#define XB_TIM2_PSC XB_REGISTER(0x40000028u)
#define XB_TIM2_ARR XB_REGISTER(0x4000002Cu)

/* Independent watchdog */
#define XB_IWDG_KR XB_REGISTER(0x40003000u)
#define XB_IWDG_PR XB_REGISTER(0x40003004u)
#define XB_IWDG_RLR XB_REGISTER(0x40003008u)
#define XB_IWDG_KEY_START 0xCCCCu
#define XB_IWDG_KEY_WRITE 0x5555u
#define XB_IWDG_KEY_KICK 0xAAAAu

/* bxCAN master control: 0x00010002 after reset on silicon, 0 where no controller is modelled */
#define XB_CAN1_MCR XB_REGISTER(0x40006400u)

/* Core peripherals */
#define XB_SYST_CSR XB_REGISTER(0xE000E010u)
#define XB_SYST_RVR XB_REGISTER(0xE000E014u)
#define XB_SYST_CVR XB_REGISTER(0xE000E018u)
#define XB_NVIC_ISER(word) XB_REGISTER(0xE000E100u + (4u * (word)))
#define XB_SCB_AIRCR XB_REGISTER(0xE000ED0Cu)
#define XB_SCB_AIRCR_RESET 0x05FA0004u
#define XB_DEMCR XB_REGISTER(0xE000EDFCu)
#define XB_DEMCR_TRCENA (1u << 24)
#define XB_DWT_CTRL XB_REGISTER(0xE0001000u)
#define XB_DWT_CYCCNT XB_REGISTER(0xE0001004u)

/* Instructions that C has no word for. The last two are barriers for the compiler as well. */
#define XB_MASK_INTERRUPTS() __asm volatile("cpsid i" ::: "memory")
#define XB_ALLOW_INTERRUPTS() __asm volatile("cpsie i" ::: "memory")
#define XB_WAIT_FOR_INTERRUPT() __asm volatile("wfi" ::: "memory")
#define XB_BARRIER() __asm volatile("dsb\n\tisb" ::: "memory")

#endif
