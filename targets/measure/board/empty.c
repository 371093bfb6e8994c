/* The program without a network: what is in it does not count. */
int main(void)
{
    return 0;
}
